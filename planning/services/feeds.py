"""Feeds by secret address: each made for one reader, and withdrawn by itself. Only a hash of the secret is kept."""

import secrets
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from mill import changes, roles
from mill.refusal import N_, Refusal
from mill.tokens import digest_of
from planning.models import FeedLink, Loom

# Told to the quarter of an hour, as of tokens.
USED_EVERY = timedelta(minutes=15)
# The page that shows the same: a feed is open while its maker may read that.
PAGES = {
    FeedLink.SHED: "looms",
    FeedLink.LOOM: "loom",
    FeedLink.ORDERS: "orders",
    FeedLink.LOTS: "lots",
    FeedLink.PLAN: "plan",
}


@transaction.atomic
def make_link(*, what: str, label: str, by: Any, loom: Loom | None = None) -> tuple[FeedLink, str]:
    """A feed, and the secret of its address, which nobody can be told again."""
    label = label.strip()
    if not label:
        raise Refusal(N_("Say who or what will read it, so that it can be withdrawn one day."), field="label")
    if what not in PAGES:
        raise Refusal(
            N_("There is no feed of %(what)s. Choose one of %(all)s."),
            field="what",
            what=repr(what),
            all=", ".join(PAGES),
        )
    if what == FeedLink.LOOM and loom is None:
        raise Refusal(N_("Say which loom."), field="loom")
    if what != FeedLink.LOOM:
        loom = None
    secret = secrets.token_urlsafe(24)
    link = FeedLink(what=what, loom=loom, label=label[:60], user=by, digest=digest_of(secret))
    changes.written_by(link, by)
    link.save(force_insert=True)
    return link, secret


@transaction.atomic
def withdraw_link(link: FeedLink, *, by: Any) -> None:
    """From now on its address answers nobody. Withdrawn twice, it is withdrawn once."""
    link = FeedLink.objects.select_for_update(of=("self",)).get(pk=link.pk)
    if link.withdrawn_at is None:
        link.withdrawn_at = timezone.now()
        changes.written_by(link, by)
        link.save(update_fields=["withdrawn_at"])


def seen_by(user: Any) -> QuerySet[FeedLink]:
    """One's own, and everybody's to who runs the book; those in use first."""
    rows = FeedLink.objects.select_related("loom", "user").order_by(F("withdrawn_at").desc(nulls_first=True), "-pk")
    return rows if roles.OWNER in roles.roles_of(user) else rows.filter(user=user.pk)


def is_open(link: FeedLink) -> bool:
    """Not withdrawn, and its maker may still read the same on a page."""
    if link.withdrawn_at is not None:
        return False
    return link.user is None or roles.may(roles.roles_of(link.user), PAGES[link.what])


def opened_by(secret: str, *, what: str) -> FeedLink | None:
    """The feed that a secret opens; None when it opens none of this kind."""
    link = FeedLink.objects.select_related("loom", "user").filter(digest=digest_of(secret), what=what).first()
    if link is None or not is_open(link):
        return None
    now = timezone.now()
    FeedLink.objects.filter(Q(last_used_at=None) | Q(last_used_at__lt=now - USED_EVERY), pk=link.pk).update(
        last_used_at=now
    )
    return link
