"""Whatever goes wrong at the API is answered as problem details, RFC 9457, whoever refused it and wherever."""

import pytest
from django.test import Client

PROBLEM = "application/problem+json"


def check(answer, status):
    assert answer.status_code == status, answer.content
    assert answer.headers["Content-Type"] == PROBLEM
    said = answer.json()
    assert set(said) == {"type", "title", "status", "detail", "errors"}
    assert (said["type"], said["status"]) == ("about:blank", status)
    assert said["title"]
    assert said["detail"]
    return said


def test_what_is_not_there_is_a_problem(desk):
    check(desk.get("/api/cloths/NONE/"), 404)
    nowhere = desk.get("/api/there-is-no-such-noun/")
    check(nowhere, 404)
    # As with every other answer: what it is, is not to be guessed.
    assert nowhere.headers["X-Content-Type-Options"] == "nosniff"
    assert "default-src 'self'" in nowhere.headers["Content-Security-Policy"]


def test_what_cannot_be_asked_so_says_what_can(desk):
    answer = desk.delete("/api/cloths/")
    check(answer, 405)
    assert "POST" in answer.headers["Allow"]


def test_what_is_not_json_is_a_problem(desk):
    check(desk.post("/api/cloths/", "<a/>", content_type="application/xml"), 415)
    check(desk.post("/api/cloths/", "{", content_type="application/json"), 400)
    check(desk.get("/api/cloths/", HTTP_ACCEPT="text/html"), 406)


def test_nobody_is_told_anything(db):
    assert Client().get("/api/cloths/").status_code in {401, 403}
    check(Client().get("/api/cloths/"), Client().get("/api/cloths/").status_code)


def test_what_is_wrong_is_said_by_its_field(desk):
    said = check(desk.post("/api/cloths/", {"code": ""}, content_type="application/json"), 400)
    assert said["errors"]
    assert all(isinstance(sentence, str) for sentences in said["errors"].values() for sentence in sentences)


@pytest.mark.parametrize("method", ["get", "post", "put", "patch", "delete"])
def test_each_operation_says_which_problems_it_can_answer(desk, method):
    schema = desk.get("/api/schema/", HTTP_ACCEPT="application/vnd.oai.openapi+json").json()
    operations = [path[method] for path in schema["paths"].values() if method in path]
    for operation in operations:
        assert {"400", "401", "403"} <= set(operation["responses"])
        problems = [answer for status, answer in operation["responses"].items() if status >= "400"]
        assert all(list(answer["content"]) == [PROBLEM] for answer in problems)


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("/api/warp-proposals/", {"warps": [[{"line": 10**30, "pieces": 1}]]}),
        ("/api/warp-proposals/", {"warps": [[{"line": 1, "pieces": 10**30}]]}),
    ],
)
def test_a_number_too_large_for_the_book_is_refused_by_its_field(desk, address, said):
    errors = check(desk.post(address, said, content_type="application/json"), 400)["errors"]
    assert [field.split(".")[0] for field in errors] == ["warps"]
