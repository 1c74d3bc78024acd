"""Who sits at the desk, and what every page of the book has round it."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.staticfiles.finders import AppDirectoriesFinder
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from mill import people, roles
from mill.gate import May

LOOPBACK = {"127.0.0.1", "::1"}


class AppFilesButMill(AppDirectoriesFinder):
    """Static files of the installed apps; the mill's own folder is found already."""

    def __init__(self, app_names: Any = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(app_names, *args, **kwargs)
        self.storages.pop("mill", None)
        self.storages.pop(str(settings.BASE_DIR / "mill"), None)


class OpenBookMiddleware:
    """On one PC whoever sits at the machine is its owner; nobody signs in, until the owner says otherwise.

    Only for requests that come from this machine itself and were not passed on
    by a proxy, and only where the mill has said so. In a book that is nobody's
    yet the first page asks whose it is.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        from mill.models import Mill

        asks_whose = request.path.startswith("/whose-book/")
        signed_in = request.user.is_authenticated or asks_whose
        if is_at_the_machine(request) and not signed_in and Mill.the_one().lies_open:
            owner = people.owners().first()
            if owner is None and is_a_visit(request):
                return redirect("first_owner")
            request.user = owner or people.planner_of_an_open_book()
            sits_as = request.session.get(SITS_AS)
            # Whoever sits at an open book is its owner, whatever the name.
            role = sits_as if sits_as in roles.ROLES else roles.OWNER
            request.user._roles = frozenset({role})  # type: ignore[union-attr]
        return self.get_response(request)


SITS_AS = "sits_as"


def is_at_the_machine(request: HttpRequest) -> bool:
    """Whether the book lies open to this request: it comes from this very machine, and straight."""
    return (
        settings.OPEN_BOOK
        and request.META.get("REMOTE_ADDR") in LOOPBACK
        and "HTTP_X_FORWARDED_FOR" not in request.META
    )


def is_a_visit(request: HttpRequest) -> bool:
    """Somebody opens a page of the desk."""
    asks = request.path.startswith(("/api/", "/t/", "/floor/", "/healthz", "/readyz"))
    return request.method == "GET" and not asks and "text/html" in request.headers.get("Accept", "")


ROOMS = [
    ("today", "Today"),
    ("orders", "Orders"),
    ("cloths", "Cloths"),
    ("warps", "Warps"),
    ("looms", "Looms"),
    ("yarn", "Yarn"),
    ("pieces", "Pieces"),
    ("store", "Store"),
    ("tickets", "Tickets"),
    ("mill", "Mill"),
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


def desk_keys(request: HttpRequest) -> str:
    """The keys that lead to a page, for the page's script; none when they are turned off in this browser."""
    if request.COOKIES.get(KEYS_COOKIE) == "off":
        return ""
    pages = {f"g{letter}": name for name, letter in ROOM_KEYS.items()} | {"n": "order_new", "?": "keys"}
    return " ".join(f"{key}={reverse(name)}" for key, name in pages.items())


def page_frame(request: HttpRequest) -> dict[str, Any]:
    """The ten rooms in the bar, the one we are in, and the mill's name."""
    from mill.models import Mill

    match = getattr(request, "resolver_match", None)
    here = getattr(match.func, "room", None) if match else None
    user = getattr(request, "user", None)
    held = roles.roles_of(user) if user is not None else frozenset[str]()
    return {
        "rooms": ROOMS,
        "here": here,
        "the_mill": Mill.the_one(),
        "open_book": is_at_the_machine(request)
        and not hasattr(user, "backend")
        and "_auth_user_id" not in request.session,
        "may": May(held),
        "sits_as": request.session.get(SITS_AS) if is_at_the_machine(request) else None,
        "desk_keys": desk_keys(request),
    }


def room(name: str) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """Mark a view as belonging to one of the rooms in the bar."""

    def mark(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        view.room = name  # type: ignore[attr-defined]
        return view

    return mark
