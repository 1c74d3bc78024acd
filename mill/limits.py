"""How much may be asked in how short a time, and how often somebody may guess.

Requests are counted in what the web processes share: Redis where there is one; where there is none the book has one web
process, which counts by itself. A counter that can't be had stops nobody. Guesses are written in the database, so that
neither a restart nor another process forgets them; the same wrong word said again is one guess, for a calendar program
asks at an old address all day. Whoever sits at an open book on its own machine is not counted at all.
"""

import hashlib
import logging
import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from functools import wraps
from ipaddress import ip_address
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.core.cache import caches
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from redis import RedisError
from rest_framework.exceptions import Throttled
from rest_framework.throttling import BaseThrottle

from mill.models import ApiToken, Guess, Mill

log = logging.getLogger("mill.limits")
MINUTE_S = 60
# A shared counter that does not answer is left alone so long.
LEFT_ALONE_S = 10.0
SHUT_FOR = timedelta(minutes=15)


@dataclass(frozen=True)
class Limit:
    """So many of a thing within so many seconds."""

    what: str
    most: int
    within_s: int


# No source: each is far more than a person does, and far less than would keep a small machine busy.
IMPORTS = Limit(gettext_noop("files brought in"), 60, 10 * MINUTE_S)
BACKUPS = Limit(gettext_noop("backups asked for"), 12, 60 * MINUTE_S)
PASSWORDS = Limit(gettext_noop("passwords set"), 20, 60 * MINUTE_S)


def api_limit() -> Limit | None:
    """Of one token, or of one person; None where the mill has said that there is none."""
    return Limit(gettext_noop("requests of the API"), settings.API_LIMIT, MINUTE_S) if settings.API_LIMIT else None


class TooMuch(Throttled):
    """More than a limit allows. Answered with 429, and with when to come again."""

    def __init__(self, detail: str, wait_s: float) -> None:
        super().__init__(detail=detail)
        self.wait = wait_s


# Counting

_left_alone_until = 0.0


def _count(key: str, within_s: int) -> int:
    """One more; how many that is in this stretch of time."""
    global _left_alone_until
    if time.monotonic() >= _left_alone_until:
        try:
            return _add(caches["default"], key, within_s)
        except RedisError as wrong:
            _left_alone_until = time.monotonic() + LEFT_ALONE_S
            log.warning("The shared counter does not answer (%s); this process counts alone.", type(wrong).__name__)
    return _add(caches["own"], key, within_s)


def _add(cache: Any, key: str, within_s: int) -> int:
    cache.add(key, 0, timeout=2 * within_s)
    try:
        return int(cache.incr(key))
    except ValueError:  # thrown out between the two lines
        cache.set(key, 1, timeout=2 * within_s)
        return 1


def count(limit: Limit, whose: str) -> None:
    """One more of it by them. Raises TooMuch when that is one too many."""
    now = time.time()
    stretch = int(now // limit.within_s)
    key = f"{limit.what}:{whose}:{stretch}".replace(" ", "-")
    if _count(key, limit.within_s) <= limit.most:
        return
    wait_s = max(1, math.ceil((stretch + 1) * limit.within_s - now))
    several = _("%(n)s minutes") % {"n": limit.within_s // MINUTE_S}
    within = several if limit.within_s > MINUTE_S else _("a minute")
    raise TooMuch(
        _("That is more than %(most)s %(what)s within %(within)s. Wait %(time)s, then send it again.")
        % {"most": limit.most, "what": _(limit.what), "within": within, "time": _said(wait_s)},
        wait_s,
    )


def _said(seconds: float) -> str:
    if seconds < 2 * MINUTE_S:
        return _("%(n)s seconds") % {"n": math.ceil(seconds)}
    return _("%(n)s minutes") % {"n": math.ceil(seconds / MINUTE_S)}


# Who asks


def address_of(request: HttpRequest) -> str:
    """The machine that asks. Behind the proxy that speaks HTTPS for the book it is the one that the proxy names."""
    straight = request.META.get("REMOTE_ADDR") or ""
    named = request.META.get("HTTP_X_FORWARDED_FOR", "").rpartition(",")[2].strip() if settings.SECURE_COOKIES else ""
    for said in (named, straight):
        try:
            return str(ip_address(said))
        except ValueError:
            continue
    return "0.0.0.0"  # noqa: S104 - a name for nobody knows where, and bound to nothing


def is_counted(request: HttpRequest) -> bool:
    """Nobody is who sits at an open book on its own machine."""
    from mill.desk import sits_at_an_open_book

    return not (sits_at_an_open_book(request) and Mill.is_open())


def whose(request: Any) -> str:
    """A token's own count, or a person's."""
    token = getattr(request, "auth", None)
    return f"token {token.pk}" if isinstance(token, ApiToken) else f"person {request.user.pk}"


# Requests


class ApiThrottle(BaseThrottle):
    """Every request of the API, by token or by person."""

    def allow_request(self, request: Any, view: Any) -> bool:
        limit = api_limit()
        if limit is not None and is_counted(request):
            count(limit, whose(request))
        return True


class Also(BaseThrottle):
    """One kind of request that is dear, by person. A subclass says which; reading is not counted."""

    limit: Limit

    def allow_request(self, request: Any, view: Any) -> bool:
        if request.method == "POST" and is_counted(request):
            count(self.limit, f"person {request.user.pk}")
        return True


class ImportsThrottle(Also):
    limit = IMPORTS


class BackupsThrottle(Also):
    limit = BACKUPS


def limited(limit: Limit) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """The same for a page: what is sent to it is counted, and one too many is answered with a page that says so."""

    def mark(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @wraps(view)
        def counted(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if request.method == "POST" and is_counted(request):
                try:
                    count(limit, f"person {request.user.pk}")
                except TooMuch as too_much:
                    return too_much_page(request, too_much)
            return view(request, *args, **kwargs)

        return counted

    return mark


def too_much_page(request: HttpRequest, too_much: TooMuch) -> HttpResponse:
    context = {"title": _("Too much at once"), "detail": too_much.detail}
    answer = render(request, "mill/too_much.html", context, status=429)
    answer["Retry-After"] = str(math.ceil(too_much.wait or 1))
    return answer


def answers_too_much(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A page that programs ask for: TooMuch is answered in one plain line."""

    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return view(request, *args, **kwargs)
        except TooMuch as too_much:
            answer = HttpResponse(f"{too_much.detail}\n", status=429, content_type="text/plain; charset=utf-8")
            answer["Retry-After"] = str(math.ceil(too_much.wait or 1))
            return answer

    return answered


# Guesses


@dataclass(frozen=True)
class Guessable:
    """A secret that might be guessed.

    what        in words: a wrong …
    most        so many different wrong ones within SHUT_FOR; then whoever said them is not listened to
    is_of_door  said before anybody knows who it is: counted by the machine that asks, not by the person
    """

    kind: str
    what: str
    most: int
    is_of_door: bool = False


FLOOR_CODE = Guessable("floor code", gettext_noop("short code"), 8)
OLD_PASSWORD = Guessable("old password", gettext_noop("password"), 8)
# A calendar server may ask for many feeds at their old addresses, and there is nothing to guess in 128 random bits.
FEED = Guessable("feed", gettext_noop("address"), 30, is_of_door=True)
TOKEN = Guessable("token", gettext_noop("token"), 30, is_of_door=True)


class Guesses:
    """What somebody said wrongly of late. `whose` is who asks, and from where."""

    def __init__(self, guessable: Guessable, whose: str, *, are_counted: bool = True) -> None:
        self.guessable, self.whose, self.are_counted = guessable, whose[:100], are_counted

    def listen(self) -> None:
        """Raises TooMuch while too many were wrong."""
        if not self.are_counted:
            return
        since = timezone.now() - SHUT_FOR
        rows = Guess.objects.filter(kind=self.guessable.kind, whose=self.whose, at__gt=since)
        first_said = dict(rows.order_by("-at").values_list("said", "at"))
        times = sorted(first_said.values())
        if len(times) < self.guessable.most:
            return
        # Open again when so many are forgotten that fewer than the limit are left.
        wait = times[len(times) - self.guessable.most] + SHUT_FOR - timezone.now()
        raise TooMuch(
            _("A wrong %(secret)s was said %(n)s times within a quarter of an hour. Wait %(time)s, then try again.")
            % {"secret": _(self.guessable.what), "n": len(times), "time": _said(wait.total_seconds())},
            max(1, math.ceil(wait.total_seconds())),
        )

    def wrong(self, said: str = "") -> None:
        """One guess more. Without `said` each counts; what was said is kept as a hash."""
        if not self.are_counted:
            return
        Guess.objects.filter(at__lt=timezone.now() - 2 * SHUT_FOR).delete()
        digest = hashlib.sha256((said or uuid4().hex).encode()).hexdigest()
        Guess.objects.create(kind=self.guessable.kind, whose=self.whose, said=digest)


def guesses_of(guessable: Guessable, request: Any) -> Guesses:
    """Of whoever is signed in, from where they are; at the door, of the machine."""
    who = "" if guessable.is_of_door else f"{request.user.pk} "
    return Guesses(guessable, f"{who}{address_of(request)}", are_counted=is_counted(request))
