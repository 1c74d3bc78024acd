"""Every example of the API's description, sent as it stands there to the mill that it is of, and taken back."""

import pytest
from django.db import transaction

from tests.mill.made_mill import make_mill
from tests.mill.test_examples import description, numbered, shown, writing

__all__ = ["description"]
pytestmark = pytest.mark.slow


def test_every_example_is_answered_as_the_description_says(description, desk, planner):
    ids = make_mill(planner)
    desk.raise_request_exception = False
    wrong, sent = [], 0
    for method, path, operation in writing(description):
        done = {int(status) for status in operation["responses"] if status < "300"}
        for at, said in shown(path, operation):
            address = path.format(**numbered(at, ids))
            with transaction.atomic():
                body = {} if said is None else {"data": numbered(said, ids), "content_type": "application/json"}
                answer = getattr(desk, method)(address, **body)
                transaction.set_rollback(True)
            sent += 1
            if path == "/api/floor/taps/":
                # What the floor tells is always kept, with the reason where nothing came of it.
                assert answer.json()[0]["refused"] == ""
            if answer.status_code not in done:
                wrong.append(f"{method.upper()} {address}: {answer.status_code} {answer.content[:300]!r}")
    assert not wrong, "\n".join(wrong)
    assert sent > 130
