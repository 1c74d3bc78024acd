"""After every test of the store its ledger must hold."""

from collections.abc import Iterator

import pytest

from inventory import services

WITH_A_BOOK = {"db", "transactional_db", "live_server", "desk", "planner"}


@pytest.fixture(autouse=True)
def the_ledger_holds(request: pytest.FixtureRequest) -> Iterator[None]:
    marker = request.node.get_closest_marker("django_db")
    if marker is None and not WITH_A_BOOK & set(request.fixturenames):
        yield
        return
    is_transactional = (marker and marker.kwargs.get("transaction")) or {"transactional_db", "live_server"} & set(
        request.fixturenames
    )
    # Asked for here, so that the book is still there when this looks at it last.
    request.getfixturevalue("transactional_db" if is_transactional else "db")
    yield
    services.check_invariants()
