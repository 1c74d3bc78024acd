"""The API asked whatever its own description allows, by one of each role, by a token that reads only and by nobody.

Each case is made once and put to several, for the making takes most of the time: the owner is asked all of them,
everybody else the first of each operation and some of the others. More by hand, every case by everybody:
SHEDBOOK_FUZZ=100 manage.py test tests/slow/test_api_fuzz.py --slow
"""

import itertools
import os
from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest
import requests
import schemathesis
from django.db import transaction
from django.test import Client
from django.urls import Resolver404, resolve
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import checks
from schemathesis.core.failures import FailureGroup
from schemathesis.core.transport import Response
from schemathesis.specs.openapi import checks as described

from mill import roles, tokens
from mill.management.commands.example_mill import build
from planning.models import Loom
from tests.make import make_person

pytestmark = pytest.mark.slow

IS_LONG = "SHEDBOOK_FUZZ" in os.environ
EXAMPLES = int(os.environ.get("SHEDBOOK_FUZZ", "3"))
IN_TURN = 8
HELD_TO = [
    checks.not_a_server_error,
    described.status_code_conformance,
    described.content_type_conformance,
    described.response_schema_conformance,
]
BASE = "http://testserver"
WRITES = {"POST", "PUT", "PATCH", "DELETE"}


@pytest.fixture
def mill(db: None, planner: Any) -> None:
    build(seed=7, size=1, on=date(2026, 11, 27))


@pytest.fixture
def schema(desk: Any, settings: Any) -> Any:
    # More is asked here in a minute than anybody may.
    settings.API_LIMIT = 0
    raw = desk.get("/api/schema/", HTTP_ACCEPT="application/vnd.oai.openapi+json").json()
    return schemathesis.openapi.from_dict(raw)


def sent(case: Any, headers: dict[str, str]) -> Response:
    """The case sent to the book in this process, and taken back; the answer as the checks read it."""
    asked = requests.Request(**case.as_transport_kwargs(base_url=BASE)).prepare()
    body = asked.body.encode() if isinstance(asked.body, str) else asked.body or b""
    content_type = asked.headers.pop("Content-Type", "application/json")
    given = {name: value for name, value in {**asked.headers, **headers}.items() if name != "Content-Length"}
    client = Client(raise_request_exception=False)
    with transaction.atomic():
        said = client.generic(asked.method, asked.path_url, body, content_type=content_type, headers=given)
        transaction.set_rollback(True)
    return Response(
        status_code=said.status_code,
        headers={name.lower(): [value] for name, value in said.headers.items()},
        content=said.content,
        request=asked,
        elapsed=0.0,
        verify=True,
    )


def known(path: str) -> list[Any]:
    """Values that name something, for the one parameter of an address."""
    from inventory.models import Claim, Delivery, Movement, Place, Treatment, Yarn, YarnLot
    from planning.models import (
        Cloth,
        Customer,
        Dispatch,
        FinishingBatch,
        JobTicket,
        Order,
        OrderLine,
        Piece,
        PlanRun,
        Warp,
    )

    columns = {
        "/api/looms/": (Loom, "code"),
        "/api/cloths/": (Cloth, "code"),
        "/api/customers/": (Customer, "code"),
        "/api/orders/": (Order, "number"),
        "/api/warps/": (Warp, "number"),
        "/api/plans/": (PlanRun, "pk"),
        "/api/yarns/": (Yarn, "code"),
        "/api/lots/": (YarnLot, "pk"),
        "/api/deliveries/": (Delivery, "pk"),
        "/api/treatments/": (Treatment, "pk"),
        "/api/claims/": (Claim, "pk"),
        "/api/movements/": (Movement, "pk"),
        "/api/order-lines/": (OrderLine, "pk"),
        "/api/pieces/": (Piece, "number"),
        "/api/places/": (Place, "pk"),
        "/api/batches/": (FinishingBatch, "number"),
        "/api/dispatches/": (Dispatch, "number"),
        "/api/tickets/": (JobTicket, "number"),
    }
    for start, (model, column) in columns.items():
        if path.startswith(f"{start}{{"):
            return list(model._default_manager.order_by("pk").values_list(column, flat=True)[:5])
    return []


@dataclass(frozen=True)
class Asker:
    """Who comes to the API, with what they send to show it."""

    name: str
    headers: dict[str, str]
    roles: frozenset[str] = frozenset()
    is_known: bool = True
    may_write: bool = True

    def may(self, url_name: str, method: str) -> bool:
        if method in WRITES and (url_name in roles.BY_HAND or not self.may_write):
            return False
        return roles.may(self.roles, url_name, method)


@pytest.fixture
def askers(planner: Any) -> list[Asker]:
    """The owner first, then one of each other role, an owner's token that reads only, and nobody."""

    def comes(name: str, person: Any, *, may_write: bool = True) -> Asker:
        _, secret = tokens.make_token(name=name, may_write=may_write, by=person)
        held = roles.roles_of(person)
        return Asker(name, {"Authorization": f"Bearer {secret}"}, held, may_write=may_write)

    found = [comes(roles.OWNER, planner)]
    for role in [role for role in roles.ROLES if role != roles.OWNER]:
        found.append(comes(role, make_person(f"one-{role.split()[0]}", role)))
    return [*found, comes("reads only", planner, may_write=False), Asker("nobody", {}, is_known=False)]


def whose(askers: list[Asker], n: int, turn: int) -> list[Asker]:
    """Who is asked the n-th case of an operation: the first by everybody, the others by the owner and some in turn."""
    if n == 0 or IS_LONG:
        return askers
    return [askers[0], *(asker for place, asker in enumerate(askers[1:]) if (place + turn) % IN_TURN == 0)]


def every_case(operation: Any, values: list[Any], ask: Any) -> None:
    """Cases of one operation. `ask` gathers what is wrong and raises nothing, so that one run shows all of it."""

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(), value=st.sampled_from([None, *values]))
    def one(case: Any, value: Any) -> None:
        if value is not None and len(case.path_parameters) == 1:
            case.path_parameters = dict.fromkeys(case.path_parameters, value)
        ask(case)

    one()


def wrong_with(case: Any, asker: Asker) -> str:
    """What is wrong with an answer, empty when nothing is."""
    answer = sent(case, asker.headers)
    try:
        case.validate_response(answer, checks=HELD_TO)
    except (Exception, FailureGroup) as error:
        return f"{type(error).__name__}: {_words(error)}"
    status, method = answer.status_code, case.method.upper()
    if not asker.is_known:
        return "" if status == 401 else f"{status} to nobody"
    match = named(urlsplit(answer.request.url).path)
    may = match is not None and asker.may(match, method)
    # Each step of a warp asks for the role of its own button: tests/mill/test_every_verb.py.
    may_be_anothers = match == "warp-step" and status == 403
    if may and status in {401, 403} and not may_be_anothers:
        return f"{status}, though it may"
    if not may and status not in {403, 404}:
        return f"{status}, though it may not"
    return ""


def named(path: str) -> str | None:
    """What the table of roles calls an address; None for one that is none."""
    try:
        return resolve(unquote(path)).url_name
    except Resolver404:
        return None


def _words(error: BaseException) -> str:
    parts = error.exceptions if isinstance(error, BaseExceptionGroup) else [error]
    return " | ".join(str(part)[:500] for part in parts)


def test_everybody_is_answered_as_described_and_nobody_gets_further_than_their_roles(mill, askers, schema):
    wrong: dict[tuple[str, str], str] = {}
    acted: set[str] = set()
    turns = itertools.count()
    for result in schema.get_all_operations():
        operation = result.ok()
        count = itertools.count()

        def ask(case: Any, operation: Any = operation, count: Any = count) -> None:
            for asker in whose(askers, next(count), next(turns)):
                acted.add(asker.name)
                if said := wrong_with(case, asker):
                    wrong.setdefault((operation.label, asker.name), said)

        every_case(operation, known(operation.path), ask)
    assert acted == {asker.name for asker in askers}
    assert not wrong, "\n\n".join(f"{what} by {who}: {said}" for (what, who), said in wrong.items())
