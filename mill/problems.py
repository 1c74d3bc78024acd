"""What goes wrong with a request of the API, said in one form: problem details, RFC 9457.

Every answer of 400 and above is `application/problem+json`: a title that is the status in words, a `detail` in a
sentence fit to show, and `errors`, sentences by the field they belong beside: lines.0.due_on.
"""

import json
from collections.abc import Callable, Iterator
from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import exception_handler

from mill.edits import is_of_one
from mill.meanwhile import Meanwhile
from mill.refusal import Refusal

PROBLEM_JSON = "application/problem+json"
OF_THE_WHOLE = "non_field_errors"
API = "/api/"

SCHEMA = {
    "type": "object",
    "description": "What went wrong, as RFC 9457 has it.",
    "properties": {
        "type": {"type": "string", "description": "about:blank: the status says it."},
        "title": {"type": "string", "description": "The status in words."},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What is wrong and the way out, in a sentence fit to show."},
        "errors": {
            "type": "object",
            "description": "Sentences by field: lines.0.due_on is the due day of the first line.",
            "additionalProperties": {"type": "array", "items": {"type": "string"}},
        },
    },
    "required": ["type", "title", "status", "detail", "errors"],
}
ONCE = {
    "in": "header",
    "name": "Idempotency-Key",
    "schema": {"type": "string", "minLength": 1, "maxLength": 200},
    "description": "Sent again within 48 hours with the same key, the same request writes once and is answered alike.",
}
IF_MATCH = {
    "in": "header",
    "name": "If-Match",
    "schema": {"type": "string"},
    "description": "The `ETag` of the version that is to be changed. When another stands, nothing is written: 412.",
}
TAG = {
    "description": "The version of the record as people edit it; what is reckoned from it has no part in this.",
    "schema": {"type": "string"},
}
WORDS = {
    400: "It can't be read, or the mill says no.",
    401: "Nobody is signed in.",
    403: "It is not for whoever asks.",
    404: "There is no such thing.",
    405: "It can't be asked in this way.",
    406: "It can't be answered in the form that was asked for.",
    412: "The record is another version than the one named in If-Match.",
    415: "What was sent is not JSON.",
    422: "The Idempotency-Key was sent with another request.",
    429: "Too much was asked in too short a time.",
    503: "The book can't be reached at the moment. This is not confirmed: send it again, with the same key, later.",
    507: "The disk of the machine that keeps the book is full. Nothing of this is written.",
}


def problem(status: int, detail: str, errors: dict[str, list[str]] | None = None) -> dict[str, Any]:
    return {
        "type": "about:blank",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "errors": errors or {},
    }


def as_answer(exc: Exception, context: dict[str, Any]) -> Response | None:
    """Whatever stops a request, as problem details; None for a fault of ours, which is left to crash."""
    if isinstance(exc, Meanwhile):
        return Response(
            problem(412, exc.message), status=412, content_type=PROBLEM_JSON, headers={"ETag": f'"{exc.version}"'}
        )
    if isinstance(exc, Refusal):
        errors = {exc.field: [exc.message]} if exc.field else {}
        return Response(problem(400, exc.message, errors), status=400, content_type=PROBLEM_JSON)
    answer = exception_handler(exc, context)
    if answer is None:
        return None
    errors = {}
    if isinstance(exc, exceptions.ValidationError):
        for path, sentence in _flat(answer.data):
            errors.setdefault(path, []).append(sentence)
        whole = errors.pop("", [])
        detail = " ".join(whole) or " ".join(sentence for said in errors.values() for sentence in said[:1])
    else:
        detail = str(answer.data.get("detail", ""))
    answer.data = problem(answer.status_code, detail, errors)
    answer.content_type = PROBLEM_JSON
    return answer


def _flat(said: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Sentences with the field each belongs to, whatever they are nested in.

    >>> list(_flat({"lines": [{}, {"due_on": ["Write a day."]}], "non_field_errors": ["No."]}))
    [('lines.1.due_on', 'Write a day.'), ('', 'No.')]
    """
    if isinstance(said, dict):
        for name, part in said.items():
            yield from _flat(part, path if name == OF_THE_WHOLE else f"{path}.{name}".lstrip("."))
    elif isinstance(said, list):
        for n, part in enumerate(said):
            is_row = isinstance(part, dict | list)
            yield from _flat(part, f"{path}.{n}".lstrip(".") if is_row else path)
    else:
        yield path, str(said)


# What is said of the words that are put aside; all else goes on with the answer: when to come again, how to look at it.
OF_THE_BODY = {"Content-Type", "Content-Length", "Content-Disposition", "Content-Language", "Content-Encoding", "ETag"}


class ProblemMiddleware:
    """What is refused before a view of the API is reached is answered in the same form."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        status = answer.status_code
        if status < 400 or not request.path.startswith(API) or answer["Content-Type"].startswith(PROBLEM_JSON):
            return answer
        # The fault itself stands in the log; nothing of it is told.
        ours = "Something went wrong here. It has been noted." if status >= 500 else "It is refused."
        words = WORDS.get(status, ours)
        said = HttpResponse(json.dumps(problem(status, words)), status=status, content_type=PROBLEM_JSON)
        for name, value in answer.items():
            if name not in OF_THE_BODY:
                said[name] = value
        said.cookies = answer.cookies
        return said


def document(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """The API's description, with the problems that each operation can answer."""
    result.setdefault("components", {}).setdefault("schemas", {})["Problem"] = SCHEMA
    versioned = {path for path, _, _, view in generator._get_paths_and_endpoints() if is_of_one(view)}
    for path, operations in result.get("paths", {}).items():
        for method, operation in operations.items():
            if method not in {"get", "post", "put", "patch", "delete"}:
                continue
            sent = "requestBody" in operation
            statuses = [400, 401, 403, 406, 429, 503] + [507] * (method != "get")
            # A thing in the address, or a code in what is sent, may name nothing; and so may a leaf of a list.
            if "{" in path or sent or method == "get":
                statuses.append(404)
            if method != "get":
                statuses.append(415)
            if method == "post":
                statuses.append(422)
                operation.setdefault("parameters", []).append(ONCE)
            if path in versioned and (method in {"patch", "put", "delete"}):
                statuses.append(412)
                operation.setdefault("parameters", []).append(IF_MATCH)
            if path in versioned and method in {"get", "patch", "put"} and "200" in operation["responses"]:
                operation["responses"]["200"].setdefault("headers", {})["ETag"] = TAG
            for status in statuses:
                operation["responses"][str(status)] = {
                    "description": WORDS[status],
                    "content": {PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/Problem"}}},
                }
            operation["responses"]["429"]["headers"] = {
                "Retry-After": {"description": "Seconds to wait.", "schema": {"type": "integer"}}
            }
            operation["responses"] = dict(sorted(operation["responses"].items()))
    return result
