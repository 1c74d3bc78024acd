"""How the early book came about: once, with the code of 2279507, after its `example_mill --on 2026-11-25`.

Nobody had told that mill's book anything at a machine, and no piece lay in a batch; this adds a little of both.
"""

from decimal import Decimal
from typing import Any

from django.contrib.auth import get_user_model

from planning.models import Warp, Worker
from planning.services import finishing, floor

TELLINGS: list[tuple[str, dict[str, Any]]] = [
    ("started", {}),
    ("stopped", {"reason": "weft break"}),
    ("running", {}),
    ("picks", {"picks": 4000}),
    ("piece off", {"length_m": Decimal("61.5")}),
    ("stopped", {"reason": "no weft"}),
]


def make() -> None:
    by = get_user_model().objects.get()
    weaver = Worker.objects.create(code="UNA", name="Una Kerr", trade="weaver")
    for warp in Warp.objects.filter(state="weaving").order_by("number")[:4]:
        for n, (kind, facts) in enumerate(TELLINGS):
            event = floor.tell(
                warp, kind=kind, facts=facts, worker=weaver, key=f"early-{warp.number}-{n}", ticket=None, by=by
            )
            assert not event.refused, event.refused
    waiting: dict[str, list[Any]] = {"scour": [], "grey perch": []}
    for piece in finishing.to_finish():
        step = finishing.next_step(piece)
        if step is not None and step.name in waiting:
            waiting[step.name].append(piece)
    for name, pieces in waiting.items():
        finishing.put_in(pieces[:3], step=name, by=by, worker=weaver, key=f"early {name}")
