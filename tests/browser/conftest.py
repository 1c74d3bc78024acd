"""While a browser is open in this thread, Django takes it for an asynchronous one and refuses the database."""

from pathlib import Path

import pytest

# The main job walked once stays with the fast suite; the other rooms, at every width, are a long proof.
FAST = {"test_desk", "test_walk"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.path.parent == Path(__file__).parent and item.path.stem not in FAST:
            item.add_marker(pytest.mark.slow)


@pytest.fixture(scope="module", autouse=True)
def the_database_beside_an_open_browser():
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        yield
