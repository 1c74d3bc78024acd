"""The API asked whatever its own description allows, as each who may come to it: it answers as described or not at all.

More by hand: SHEDBOOK_FUZZ=500 manage.py test tests/slow/test_api_fuzz.py --slow
"""

import os
from datetime import date
from typing import Any

import pytest
import requests
import schemathesis
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import checks
from schemathesis.core.failures import FailureGroup
from schemathesis.core.transport import Response
from schemathesis.specs.openapi import checks as described

from mill import tokens
from mill.management.commands.example_mill import build
from planning.models import Loom

pytestmark = pytest.mark.slow

EXAMPLES = int(os.environ.get("SHEDBOOK_FUZZ", "6"))
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
def schema(desk: Any) -> Any:
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
    from inventory.models import Claim, Delivery, Reservation, Treatment, Yarn, YarnLot
    from planning.models import Cloth, Customer, Order, PlanRun, Warp

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
        "/api/holds/": (Reservation, "pk"),
    }
    for start, (model, column) in columns.items():
        if path.startswith(f"{start}{{"):
            return list(model._default_manager.order_by("pk").values_list(column, flat=True)[:5])
    return []


def asker(operation: Any, values: list[Any], headers: dict[str, str], check: Any) -> Any:
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
        check(case, sent(case, headers))

    return one


def asked(schema: Any, headers: dict[str, str], check: Any) -> list[str]:
    """What is wrong, by operation; each request is taken back, so that the book stays as it is."""
    wrong: list[str] = []
    for result in schema.get_all_operations():
        operation = result.ok()
        values = known(operation.path)

        one = asker(operation, values, headers, check)
        try:
            one()
        except (Exception, FailureGroup) as error:  # gathered, so that one run shows all that is wrong
            wrong.append(f"{operation.label}: {type(error).__name__}: {_words(error)}")
    return wrong


def _words(error: BaseException) -> str:
    parts = error.exceptions if isinstance(error, BaseExceptionGroup) else [error]
    return " | ".join(str(part)[:500] for part in parts)


def as_described(case: Any, answer: Any) -> None:
    case.validate_response(answer, checks=HELD_TO)


def test_who_may_do_everything_is_answered_as_described(mill, planner, schema):
    _, secret = tokens.make_token(name="Writes", may_write=True, by=planner)
    wrong = asked(schema, {"Authorization": f"Bearer {secret}"}, as_described)
    assert not wrong, "\n\n".join(wrong)


def test_who_may_read_writes_nothing(db, planner, schema):
    _, secret = tokens.make_token(name="Reads", may_write=False, by=planner)

    def check(case: Any, answer: Any) -> None:
        as_described(case, answer)
        if case.method.upper() in WRITES:
            assert answer.status_code == 403, answer.status_code

    wrong = asked(schema, {"Authorization": f"Bearer {secret}"}, check)
    assert not wrong, "\n\n".join(wrong)


def test_who_is_nobody_is_told_nothing(db, schema):
    def check(case: Any, answer: Any) -> None:
        as_described(case, answer)
        assert answer.status_code == 401, answer.status_code

    wrong = asked(schema, {}, check)
    assert not wrong, "\n\n".join(wrong)
