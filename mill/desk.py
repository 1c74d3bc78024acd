"""Who sits at the desk, and what every page of the book has round it."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.staticfiles.finders import AppDirectoriesFinder
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from mill import language, people, roles
from mill.gate import May
from mill.glossing import Terms
from mill.how_to import tasks_at

LOOPBACK = {"127.0.0.1", "::1"}
# What proxies write into a request that they pass on for somebody else.
PASSED_ON = ("FORWARDED", "X_FORWARDED_FOR", "X_FORWARDED_HOST", "X_FORWARDED_PROTO", "X_REAL_IP", "VIA")
# It says that the process answers, also when the database does not.
HEALTH = "/healthz"


class AppFilesButMill(AppDirectoriesFinder):
    """Static files of the installed apps; the mill's own folder is found already."""

    def __init__(self, app_names: Any = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(app_names, *args, **kwargs)
        self.storages.pop("mill", None)
        self.storages.pop(str(settings.BASE_DIR / "mill"), None)


class OpenBookMiddleware:
    """On one PC whoever sits at the machine is its owner; nobody signs in, until the owner says otherwise.

    Only for requests that come from this machine itself and were not passed on
    by a proxy, and only where the mill has said so. A book that is nobody's yet
    opens to nobody: where one would sign in, it asks whose it is.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        from mill.models import Mill

        if request.path == HEALTH:
            return self.get_response(request)
        if is_at_the_machine(request) and not request.user.is_authenticated and Mill.is_open():
            owner = people.owners().first()
            if owner is not None:
                request.user = owner
                sits_as = request.session.get(SITS_AS)
                if sits_as in roles.ROLES:
                    request.user._roles = frozenset({sits_as})  # type: ignore[union-attr]
        return self.get_response(request)


SITS_AS = "sits_as"


def is_at_the_machine(request: HttpRequest) -> bool:
    """Whether the book lies open to this request: it comes from this very machine, and straight."""
    return (
        settings.OPEN_BOOK
        and request.META.get("REMOTE_ADDR") in LOOPBACK
        and not any(f"HTTP_{header}" in request.META for header in PASSED_ON)
    )


def sits_at_an_open_book(request: HttpRequest) -> bool:
    """Whoever asks got in because the book lies open, and did not sign in."""
    return is_at_the_machine(request) and SESSION_KEY not in request.session


ROOMS = [
    ("today", _("Today")),
    ("orders", _("Orders")),
    ("cloths", _("Cloths")),
    ("warps", _("Warps")),
    ("looms", _("Looms")),
    ("yarn", _("Yarn")),
    ("pieces", _("Pieces")),
    ("store", _("Store")),
    ("tickets", _("Tickets")),
    ("mill", _("Mill")),
]
# After g: the letter that goes to a room.
ROOM_KEYS = {
    "today": "t",
    "orders": "o",
    "cloths": "c",
    "warps": "w",
    "looms": "l",
    "yarn": "y",
    "pieces": "p",
    "store": "s",
    "tickets": "k",
    "mill": "m",
}
KEYS_COOKIE = "keys"


def desk_keys(request: HttpRequest, may: May) -> str:
    """The keys that lead to a page, for the page's script; none when they are turned off in this browser."""
    if request.COOKIES.get(KEYS_COOKIE) == "off":
        return ""
    pages = {f"g{letter}": name for name, letter in ROOM_KEYS.items()} | {"?": "keys"}
    if may["order_new"]:
        pages["n"] = "order_new"
    return " ".join(f"{key}={reverse(name)}" for key, name in pages.items())


def page_frame(request: HttpRequest) -> dict[str, Any]:
    """The ten rooms in the bar, the one we are in, the mill's name, and in which language it speaks."""
    from mill.models import Mill

    match = getattr(request, "resolver_match", None)
    here = getattr(match.func, "room", None) if match else None
    user = getattr(request, "user", None)
    may = May(roles.roles_of(user) if user is not None else roles.NOBODY)
    own = language.of(request)
    return {
        "own_language": own,
        "frame_lang": language.as_html(own),
        "languages": settings.LANGUAGES,
        "rooms": ROOMS,
        "here": here,
        "the_mill": Mill.the_one(),
        "open_book": sits_at_an_open_book(request),
        "may": may,
        "may_act": user is not None and roles.may_act(user, match),
        "sits_as": request.session.get(SITS_AS) if sits_at_an_open_book(request) else None,
        "desk_keys": desk_keys(request, may),
        "tasks_here": tasks_at(match.url_name or "") if match else [],
        "terms": Terms() if user is not None and user.is_authenticated else None,
    }


def room(name: str) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """Mark a view as belonging to one of the rooms in the bar."""

    def mark(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        view.room = name  # type: ignore[attr-defined]
        return view

    return mark
