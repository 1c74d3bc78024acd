"""The log, for whoever runs the book: ids and no names, each line with the request that it belongs to.

With SHEDBOOK_LOG_FORM=json each line is one JSON object. What people are called, what they typed, where they are,
query strings and secret addresses stay out of it: a request is told by the name of its address, an exception by its
type and the places that it went through.
"""

import json
import logging
import re
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from http import HTTPStatus
from pathlib import Path
from types import TracebackType
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse

HEADER = "X-Request-ID"
META = "HTTP_X_REQUEST_ID"
# As proxies make them: hexadecimal, with or without the dashes of a UUID. No name can be written so.
WELL_FORMED = re.compile(r"[0-9a-f](?:[0-9a-f]|-(?!-)){14,62}[0-9a-f]", re.IGNORECASE)
# The web server's own words, which go on with the visitor's address or what was asked.
TOO_OPEN = re.compile(r"(Invalid request|Error handling request)\b.*", re.DOTALL)

log = logging.getLogger("mill.request")
_request_id: ContextVar[str] = ContextVar("request_id", default="")


def request_id() -> str:
    """Of the request at hand, or of the one that asked for the job at work; "" where there is none."""
    return _request_id.get()


@contextmanager
def belonging_to(request_id: str) -> Iterator[None]:
    """Every line written meanwhile carries this id."""
    token = _request_id.set(request_id)
    try:
        yield
    finally:
        _request_id.reset(token)


class RequestMiddleware:
    """Each request has an id, the proxy's or one of our own, says it in its answer, and leaves one line."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        began = time.perf_counter()
        own = given if WELL_FORMED.fullmatch(given) else uuid4().hex
        # The framework writes a last line about it when this is over.
        request.META[META] = own
        with belonging_to(own):
            answer = self.get_response(request)
            answer[HEADER] = own
            facts = {
                "method": request.method if request.method in METHODS else "another",
                "route": route_of(request),
                "status": answer.status_code,
                "ms": round((time.perf_counter() - began) * 1000, 1),
            }
            log.info("{method} {route} {status} in {ms} ms".format_map(facts), extra={"facts": facts})
        return answer


METHODS = {"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"}


def route_of(request: HttpRequest) -> str:
    """The name of the address, never the address: that may hold a secret."""
    if request.resolver_match:
        return request.resolver_match.view_name
    return "static" if request.path.startswith(settings.STATIC_URL) else "none"


class JsonLine(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        request = getattr(record, "request", None)
        of_request = request.META.get(META, "") if isinstance(request, HttpRequest) else ""
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": said_by(record),
            "request_id": request_id() or of_request,
            **getattr(record, "facts", {}),
        }
        if record.exc_info and record.exc_info[1]:
            line["exception"] = told(record.exc_info[1])
        return json.dumps(line, ensure_ascii=False, default=str)


def said_by(record: logging.LogRecord) -> str:
    request = getattr(record, "request", None)
    if isinstance(request, HttpRequest):
        # The framework's own lines about a request hold its path, or what was wrong with it.
        status = getattr(record, "status_code", None)
        return f"{HTTPStatus(status).phrase if status else 'Refused'}: {request.method} {route_of(request)}"
    message = record.getMessage()
    return TOO_OPEN.sub(r"\1", message) if record.name.startswith("gunicorn") else message


def told(error: BaseException) -> dict[str, Any]:
    """An exception without its words, which may be anything: its type, where it went, and what it came of."""
    kind = type(error)
    said: dict[str, Any] = {"type": f"{kind.__module__}.{kind.__qualname__}", "at": places(error.__traceback__)}
    came_of = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    if came_of:
        said["came_of"] = told(came_of)
    return said


def places(trace: TracebackType | None) -> list[str]:
    return [
        f"{'/'.join(Path(frame.filename).parts[-3:])}:{frame.lineno} {frame.name}"
        for frame in traceback.extract_tb(trace)
    ]
