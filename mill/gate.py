"""The gate: who passes to which address, by the table of `roles.py`."""

from collections.abc import Callable
from typing import Any

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from rest_framework.exceptions import PermissionDenied
from rest_framework.permissions import BasePermission

from mill import language, people, roles, trouble
from mill.models import ApiToken


class SignInFirst(LoginRequiredMiddleware):
    """Whoever is not signed in goes to the door; a form that was typed before a sign-in ran out stays on a page."""

    # What is kept is a page; the stubs know of a redirect alone.
    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> HttpResponse:  # type: ignore[override]
        return trouble.signed_out(request) or super().handle_no_permission(request, view_func)


class RoleMiddleware:
    """Pages by the table of `roles.py`. The API asks the same table once it knows who speaks: `MayByRole`."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        # Whoever may read it may keep it, and no cache that others share.
        answer.setdefault("Cache-Control", "private")
        return answer

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        match = request.resolver_match
        if match is None or not request.user.is_authenticated or hasattr(view, "cls"):
            return None
        if match.namespaces:  # the back office of the framework
            can, who = roles.OWNER in roles.roles_of(request.user), frozenset({roles.OWNER})
        else:
            who = roles.who_may(match.url_name or "", request.method or "")
            can = roles.may(roles.roles_of(request.user), match.url_name or "", request.method or "")
        if can:
            return None
        with language.speaking(language.of(request)):
            return render(
                request,
                "mill/may_not.html",
                {
                    "title": _("Not yours to do"),
                    "may_do": ", ".join(_(role) for role in roles.ROLES if role in who),
                    "who": ", ".join(people.holders(who)),
                    "reads": request.method in roles.READING,
                },
                status=403,
            )


class MayByRole(BasePermission):
    """The API by the same table."""

    message = "Your roles don't let you do this; the page “What each role may do” says whose it is."

    def has_permission(self, request: Any, view: Any) -> bool:
        match = request.resolver_match
        by_hand = request.method not in roles.READING and match and match.url_name in roles.BY_HAND
        if by_hand and isinstance(request.auth, ApiToken):
            raise PermissionDenied("A token makes no other, and no feed: sign in, and make it there.")
        return roles.may(roles.roles_of(request.user), (match and match.url_name) or "", request.method)


class May:
    """For templates: `{% if may.warp_split %}`, whether who reads the page may act there."""

    def __init__(self, held: frozenset[str]) -> None:
        self.held = held

    def __getitem__(self, name: str) -> bool:
        return roles.may(self.held, name, "POST")
