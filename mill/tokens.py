"""Tokens: programs of the mill come to the API in the name of whoever made the token, and no further.

A token may be narrowed to some of its maker's roles. It never does more than its maker may at the moment.

Only a hash of the secret is kept. It is 256 random bits, so a plain hash is as good as a slow one.
"""

import hashlib
import secrets
from collections.abc import Collection
from datetime import date, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.permissions import SAFE_METHODS
from rest_framework.request import Request

from mill import changes, limits, roles
from mill.models import ApiToken
from mill.refusal import N_, Refusal, Several, Word

# Told to the quarter of an hour, so that a program that asks each second doesn't write each second.
USED_EVERY = timedelta(minutes=15)


def digest_of(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def make_token(
    *, name: str, may_write: bool, by: Any, ends_on: date | None = None, held: Collection[str] = ()
) -> tuple[ApiToken, str]:
    """A token, and its secret, which nobody can be told again.

    held    the roles it is narrowed to; none is all that its maker holds, now and later
    """
    name = name.strip()
    if not name:
        raise Refusal(N_("Give the token a name, such as the program that will use it."), field="name")
    if ends_on and ends_on < timezone.localdate():
        raise Refusal(
            N_("A token can't end on %(day)s: that day is over. Write a later day."),
            field="ends_on",
            day=f"{ends_on:%d.%m.%Y}",
        )
    beyond = [role for role in held if role not in may_be_given(by)]
    if beyond:
        raise Refusal(
            N_("You don't hold %(beyond)s, and no token of yours does. Choose of your own roles: %(own)s."),
            field="roles",
            beyond=Several(map(Word, beyond)),
            own=Several(map(Word, may_be_given(by) or [N_("none")])),
        )
    secret = secrets.token_urlsafe(32)
    named = ", ".join(role for role in roles.ROLES if role in held)
    token = ApiToken(
        name=name[:60], user=by, may_write=may_write, roles=named, ends_on=ends_on, digest=digest_of(secret)
    )
    changes.written_by(token, by)
    try:
        with transaction.atomic():
            token.save(force_insert=True)
    except IntegrityError as clash:
        raise Refusal(
            N_("You have a token called %(name)s already. Withdraw it, or give this one another name."),
            field="name",
            name=name,
        ) from clash
    return token, secret


def may_be_given(user: Any) -> list[str]:
    """Roles that somebody may narrow a token to: their own, and any to an owner."""
    held = roles.roles_of(user)
    return [role for role in roles.ROLES if roles.OWNER in held or role in held]


@transaction.atomic
def withdraw_token(token: ApiToken, *, by: Any) -> None:
    """From now on it opens nothing. Withdrawn twice, it is withdrawn once."""
    token = ApiToken.objects.select_for_update().get(pk=token.pk)
    if token.withdrawn_at is None:
        token.withdrawn_at = timezone.now()
        changes.written_by(token, by)
        token.save(update_fields=["withdrawn_at"])


def seen_by(user: Any) -> QuerySet[ApiToken]:
    """One's own, and everybody's to who runs the book; those in use first."""
    rows = ApiToken.objects.order_by(F("withdrawn_at").desc(nulls_first=True), "-pk")
    return rows if roles.OWNER in roles.roles_of(user) else rows.filter(user=user.pk)


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer …`; whoever sends nothing of the kind may be signed in otherwise."""

    def authenticate(self, request: Request) -> tuple[Any, ApiToken] | None:
        scheme, *rest = get_authorization_header(request).split(b" ") or [b""]
        if scheme.lower() != b"bearer":
            return None
        secret = b" ".join(rest).decode("latin-1").strip()
        token = ApiToken.objects.select_related("user").filter(digest=digest_of(secret)).first()
        if token is None or not token.is_open or not token.user.is_active:
            guesses = limits.guesses_of(limits.TOKEN, request)
            guesses.listen()
            guesses.wrong(secret)
            raise AuthenticationFailed("This token opens nothing: it is unknown, withdrawn or over.")
        if request.method not in SAFE_METHODS and not token.may_write:
            raise PermissionDenied(f"The token {token.name} reads only. Make one that may write.")
        now = timezone.now()
        ApiToken.objects.filter(Q(last_used_at=None) | Q(last_used_at__lt=now - USED_EVERY), pk=token.pk).update(
            last_used_at=now
        )
        # Asked for by the gate, and by whoever else wants to know what this request may do.
        token.user._roles = roles.narrowed(roles.roles_of(token.user), token.named_roles)  # type: ignore[attr-defined]
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        return "Bearer"


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = "mill.tokens.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return {"type": "http", "scheme": "bearer", "description": "A token of the page Mill > Tokens."}
