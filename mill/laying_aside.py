"""Laying the example mill aside: its book is kept beside, and an empty one with the same people takes its place.

Asked for on a page, done by `manage.py start` between two openings, since nobody may be at the book meanwhile.
"""

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.core.management import call_command
from django.db import connection, transaction

from mill import changes, people
from mill.latch import Held, Latch
from mill.models import Mill
from mill.refusal import N_, Refusal
from mill.restoring import FileBeside

EXAMPLE = "Candlebeck"
# What `start` looks for, and what it finds an empty book begun with.
ASKED, BEGUN = "lay_aside", "begun_empty"
_PERSON = ("username", "password", "first_name", "last_name", "is_staff", "is_superuser", "is_active")


def is_the_example() -> bool:
    return Mill.the_one().name == EXAMPLE


def can_be_asked() -> bool:
    """Whether the example is open by `manage.py start`, which alone can change the books."""
    if connection.vendor != "sqlite" or not is_the_example():
        return False
    try:
        with Latch(settings.DATA_DIR / "open", wait=False):
            return False
    except Held:
        return True


def ask() -> None:
    """Ask `start` for it. Raises Refusal where the book is not the example mill's, or not opened by `start`."""
    if not is_the_example():
        raise Refusal(N_("This is the book of %(mill)s, not the example mill’s: it stays."), mill=Mill.the_one().name)
    if not can_be_asked():
        raise Refusal(
            N_(
                "The example can be laid aside where `manage.py start` has opened the book. Elsewhere begin with an"
                " empty database: it gets no example unless somebody writes it there."
            )
        )
    (settings.DATA_DIR / ASKED).touch()


def is_asked() -> bool:
    return (settings.DATA_DIR / ASKED).exists()


def lay_aside() -> str:
    """Do it; where the example's book is now. Nobody else may be at the book."""
    (settings.DATA_DIR / ASKED).unlink(missing_ok=True)
    everybody = [
        (
            {name: getattr(user, name) for name in _PERSON},
            [group.name for group in user.groups.all()],
            user.told_as.language if hasattr(user, "told_as") else "",
        )
        for user in get_user_model().objects.prefetch_related("groups").select_related("told_as").order_by("pk")
    ]
    old = Mill.the_one()
    place = FileBeside()
    try:
        with place.turned_to():
            call_command("migrate", verbosity=0, interactive=False)
            with transaction.atomic():
                for said, groups, language in everybody:
                    user = get_user_model().objects.create(**said)
                    user.groups.set([Group.objects.get_or_create(name=name)[0] for name in groups])
                    if language:
                        people.speak(user, language=language, by=None)
                Mill.objects.get_or_create(pk=1)
                changes.update(Mill.objects.filter(pk=1), lies_open=old.lies_open, language=old.language)
    except BaseException:
        place.drop()
        raise
    # Before the empty book is there: else the next start after a crash would write the example into it again.
    (settings.DATA_DIR / BEGUN).touch()
    return place.put_in_place(is_first=False)
