"""What combining spares on the example mill: thrums and hours of set-up, against one warp for every line."""

import json
import time
from collections.abc import Callable, Iterable
from typing import Any

from mill.bench.scratch import in_the_book, scratch_book
from planning.services import combine
from planning.services.combine import Group, Wishes

LOOKS = {"lines that wait": Wishes(), "also those on planned warps": Wishes(includes_planned=True)}


def _sums(groups: Iterable[Group]) -> dict[str, Any]:
    """Of all groups together, combined and apart: warps, thrums, set-up, and all that is lost, weighed in minutes."""
    found: dict[str, Any] = {"lines": 0, "proven": 0, "groups": 0}
    combined = dict.fromkeys(("warps", "thrums_m", "thrums_g", "setup_min", "cost_min"), 0.0)
    apart = dict(combined)
    for group in groups:
        if group.combination is None or group.saves is None:
            continue
        found["lines"] += len(group.lines)
        found["groups"] += 1
        found["proven"] += group.combination.is_proven
        for proposal in group.proposals:
            own: dict[str, Any] = {
                "warps": 1,
                "thrums_m": proposal.thrums_m,
                "thrums_g": proposal.thrums_g,
                "setup_min": proposal.setup_min,
                "cost_min": proposal.cost_min,
            }
            for name, value in own.items():
                combined[name] += float(value)
                apart[name] += float(value)
        for name in apart:
            apart[name] += float(getattr(group.saves, name))
    return found | {"combined": combined, "apart": apart}


def work_inside() -> str:
    looks = {}
    for look, wishes in LOOKS.items():
        began = time.perf_counter()
        groups = combine.propose(wishes)
        looks[look] = _sums(groups) | {"seconds": time.perf_counter() - began}
    return json.dumps(looks)


def run(write: Callable[[str], Any], *, inside: bool, size: int) -> None:
    if inside:
        write(work_inside())
        return
    with scratch_book(size=size) as env:
        looks = json.loads(in_the_book(env, "combining"))
    for look, told in looks.items():
        write(
            f"{look}: {told['lines']} lines in {told['groups']} kinds of warp, {told['proven']} of them proven best, "
            f"{told['seconds']:.2f} s"
        )
        write(f"{'':20}{'combined':>12}{'one a line':>12}{'ratio':>8}")
        for label, name, of in (
            ("warps", "warps", 1),
            ("thrums lost, m", "thrums_m", 1),
            ("thrums lost, g", "thrums_g", 1),
            ("set-up, h", "setup_min", 60),
            ("all losses, h", "cost_min", 60),
        ):
            one, other = told["combined"][name] / of, told["apart"][name] / of
            write(f"{label:20}{one:12.1f}{other:12.1f}{one / other if other else 1:8.3f}")
