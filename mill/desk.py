"""Who sits at the desk, and what every page of the book has round it."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.staticfiles.finders import AppDirectoriesFinder
from django.http import HttpRequest, HttpResponse

LOOPBACK = {"127.0.0.1", "::1"}


class AppFilesButMill(AppDirectoriesFinder):
    """Static files of the installed apps; the mill's own folder is found already."""

    def __init__(self, app_names: Any = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(app_names, *args, **kwargs)
        self.storages.pop("mill", None)
        self.storages.pop(str(settings.BASE_DIR / "mill"), None)


class OpenBookMiddleware:
    """On one PC whoever sits at the machine is the planner; nobody signs in.

    Only for requests that come from this machine itself and were not passed on
    by a proxy, and only where the mill has said so.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if (
            settings.OPEN_BOOK
            and not request.user.is_authenticated
            and request.META.get("REMOTE_ADDR") in LOOPBACK
            and "HTTP_X_FORWARDED_FOR" not in request.META
        ):
            users = get_user_model().objects
            request.user = users.filter(username="planner").first() or users.create_user(
                "planner", first_name="Planner", is_staff=True, is_superuser=True
            )
        return self.get_response(request)


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


def page_frame(request: HttpRequest) -> dict[str, Any]:
    """The ten rooms in the bar, the one we are in, and the mill's name."""
    from mill.models import Mill

    match = getattr(request, "resolver_match", None)
    here = getattr(match.func, "room", None) if match else None
    return {"rooms": ROOMS, "here": here, "the_mill": Mill.the_one(), "open_book": settings.OPEN_BOOK}


def room(name: str) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """Mark a view as belonging to one of the rooms in the bar."""

    def mark(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        view.room = name  # type: ignore[attr-defined]
        return view

    return mark
