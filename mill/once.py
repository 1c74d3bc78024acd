"""A request that writes, sent twice with the same `Idempotency-Key`, writes once and is answered the same both times.

The answer is kept in the transaction that wrote: either both are in the book or neither, whatever dies in between. A
second request that comes while the first is still at work waits for it and is given its answer. What was refused wrote
nothing and is not kept, so that the same key may be sent again when what stood in the way is gone. Nor is an answer
that holds a secret: the secret was said once.
"""

import hashlib
import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve
from django.utils import timezone
from rest_framework.exceptions import APIException

from mill import roles
from mill.models import KeptAnswer
from mill.problems import API, PROBLEM_JSON, problem
from mill.tokens import TokenAuthentication

HEADER = "Idempotency-Key"
KEPT = timedelta(hours=48)
LONGEST = 200


class OnceMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        key = request.headers.get(HEADER)
        if key is None or request.method != "POST" or not request.path.startswith(API):
            return self.get_response(request)
        by = _who(request)
        if by is None or not _may(request, by):
            # Whoever may not ask is told so by the view.
            return self.get_response(request)
        if not key.isascii() or not key.isprintable() or not 1 <= len(key) <= LONGEST:
            return _no(400, f"The {HEADER} is 1 to {LONGEST} plain characters; a random one serves best.")
        said = f"{request.get_full_path()}\n".encode() + request.body
        fingerprint = hashlib.sha256(said).hexdigest()
        try:
            return self._written(request, by, key, fingerprint)
        except IntegrityError:
            # Of this table when the key is there, and of no other: the verbs catch their own.
            kept = KeptAnswer.objects.filter(user=by, key=key).first()
            if kept is None:
                raise
            return _again(kept, fingerprint)

    def _written(self, request: HttpRequest, by: Any, key: str, fingerprint: str) -> HttpResponse:
        with transaction.atomic():
            KeptAnswer.objects.filter(user=by, key=key, at__lt=timezone.now() - KEPT).delete()
            kept = KeptAnswer.objects.create(user=by, key=key, fingerprint=fingerprint)
            answer = self.get_response(request)
            if answer.status_code >= 400 or answer.streaming:
                transaction.set_rollback(True)
            elif "no-store" not in answer.headers.get("Cache-Control", ""):
                kept.status, kept.body = answer.status_code, answer.content
                kept.content_type = answer.headers.get("Content-Type", "")
                kept.save(update_fields=["status", "body", "content_type"])
        return answer


def forget() -> int:
    """Drop the answers that are kept no longer; by the clock, see `by_the_clock.py`."""
    return KeptAnswer.objects.filter(at__lt=timezone.now() - KEPT).delete()[0]


def _who(request: HttpRequest) -> Any:
    """Who asks, by token or signed in; None when nobody, or nobody who may."""
    try:
        found = TokenAuthentication().authenticate(request)  # type: ignore[arg-type]
    except APIException:
        return None
    user = found[0] if found else request.user
    return user if user.is_authenticated else None


def _may(request: HttpRequest, by: Any) -> bool:
    try:
        match = resolve(request.path_info)
    except Resolver404:
        return False
    return roles.may_act(by, match)


def _again(kept: KeptAnswer, fingerprint: str) -> HttpResponse:
    if kept.fingerprint != fingerprint:
        return _no(422, f"This {HEADER} was sent with another request. Send a new key with a new request.")
    if not kept.status:
        return _no(422, f"This was done already under the same {HEADER}; its answer held a secret that is said once.")
    answer = HttpResponse(bytes(kept.body), status=kept.status)
    # Set rather than passed, so that an answer without a body has none.
    answer.headers["Content-Type"] = kept.content_type
    answer.headers["Idempotency-Replayed"] = "true"
    return answer


def _no(status: int, detail: str) -> HttpResponse:
    return HttpResponse(json.dumps(problem(status, detail)), status=status, content_type=PROBLEM_JSON)
