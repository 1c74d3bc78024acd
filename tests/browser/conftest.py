"""While a browser is open in this thread, Django takes it for an asynchronous one and refuses the database."""

import pytest


@pytest.fixture(scope="module", autouse=True)
def the_database_beside_an_open_browser():
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        yield
