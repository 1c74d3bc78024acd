"""Who works with the book: the verbs that make people, give them roles and lay them aside. They alone write."""

from collections.abc import Collection
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from mill import changes, meanwhile, roles
from mill.models import Mill, Person
from mill.refusal import N_, Refusal

TOLD = ("name", "signs_in_as", "roles", "works_here", "password_set_at", "language")


def owners() -> QuerySet[Any]:
    """Those who may do everything, the first of them first."""
    is_owner = Q(is_superuser=True) | Q(groups__name=roles.OWNER)
    return get_user_model().objects.filter(is_owner, is_active=True).order_by("pk").distinct()


def holders(names: Collection[str]) -> list[str]:
    """People who hold one of the roles, by name."""
    rows = get_user_model().objects.filter(groups__name__in=names, is_active=True)
    found = {*rows, *owners()} if roles.OWNER in names else {*rows}
    return sorted(row.get_full_name() or row.get_username() for row in found)


@transaction.atomic
def first_owner(*, name: str, sign_in: str, password: str, lies_open: bool) -> Any:
    """The book gets its owner. Raises Refusal when it has one."""
    _one_after_the_other()
    if owners().exists():
        raise Refusal(N_("The book has an owner already. Sign in, or ask the owner to let you in."))
    person = get_user_model().objects.create_user(sign_in, password=password, first_name=name, is_staff=True)
    person.groups.set(_groups([roles.OWNER]))
    changes.update(Mill.objects.filter(pk=1), by=person, lies_open=lies_open)
    _tell(person, by=person, sets_password=True)
    return person


@transaction.atomic
def take_in(*, name: str, sign_in: str, password: str, held: Collection[str], by: Any) -> Any:
    """Somebody new, with roles. Raises Refusal when the name to sign in by is taken."""
    if get_user_model().objects.filter(username__iexact=sign_in).exists():
        raise _taken(sign_in)
    try:
        with transaction.atomic():
            person = get_user_model().objects.create_user(sign_in, password=password or None, first_name=name)
    except IntegrityError as taken:  # by another owner, since we looked
        raise _taken(sign_in) from taken
    person.groups.set(_groups(held))
    _tell(person, by=by, sets_password=bool(password))
    return person


def _taken(sign_in: str) -> Refusal:
    said = N_("Somebody signs in as %(sign_in)s already. Choose another name.")
    return Refusal(said, field="sign_in", sign_in=sign_in)


@transaction.atomic
def change(person: Any, *, name: str, held: Collection[str], is_active: bool, by: Any, seen: str | None = None) -> Any:
    """Name, roles, and whether the person still works with the book. Raises Refusal over the last owner."""
    is_put_out = not (is_active and roles.OWNER in held)
    if is_put_out and owners().filter(pk=person.pk).exists():
        # Before anybody's own row: whoever is waited for here writes down by whom it was, and that may be this one.
        _one_after_the_other()
    person = get_user_model().objects.select_for_update().get(pk=person.pk)
    told = _tell(person, by=None, why="As it stood when it was first changed here.")
    meanwhile.unmoved(told, seen)
    if is_put_out and owners().filter(pk=person.pk).exists():
        others = owners().exclude(pk=person.pk)
        if not others.exists():
            raise Refusal(N_("%(name)s is the last owner. Make somebody else an owner first."), field="held", name=name)
        if not _get_in(others) and not (settings.OPEN_BOOK and Mill.is_open()):
            raise Refusal(
                N_(
                    "%(name)s is the last owner with a password, and nobody would get in any more. Give another owner a"
                    " password first."
                ),
                field="held",
                name=name,
            )
    person.first_name, person.is_active = name, is_active
    person.is_superuser = person.is_superuser and roles.OWNER in held
    person.is_staff = roles.OWNER in held
    person.save(update_fields=["first_name", "is_active", "is_superuser", "is_staff"])
    person.groups.set(_groups(held))
    # Asked anew: the roles that this object remembers are those from before.
    _tell(get_user_model().objects.get(pk=person.pk), by=by)
    return person


@transaction.atomic
def set_password(person: Any, *, password: str, by: Any) -> None:
    """A new password; whoever was signed in by the old one is signed out everywhere."""
    person.set_password(password)
    person.save(update_fields=["password"])
    _tell(person, by=by, sets_password=True)


@transaction.atomic
def speak(person: Any, *, language: str, by: Any) -> None:
    """The language that the book speaks to somebody; "" for the mill's."""
    _tell(person, by=by, language=language)


@transaction.atomic
def lie_open(*, lies_open: bool, by: Any) -> None:
    """Whether the book lies open on its own machine. Raises Refusal when nobody could get in any more."""
    if not lies_open and not _get_in(owners()):
        raise Refusal(N_("No owner has a password yet, and nobody would get in any more. Give one a password first."))
    Mill.objects.get_or_create(pk=1)
    changes.update(Mill.objects.select_for_update().filter(pk=1), by=by, lies_open=lies_open)


def _one_after_the_other() -> None:
    """Two who decide at once whose the book is wait here for each other: the mill's one row is locked."""
    Mill.objects.get_or_create(pk=1)
    Mill.objects.select_for_update().get(pk=1)


def _get_in(people: QuerySet[Any]) -> bool:
    """Whether one of them can sign in."""
    return any(person.has_usable_password() for person in people)


def standing(person: Any) -> Person:
    """Somebody as they stand now, in the account's words: its row, or one that is not written yet."""
    held = {group.name for group in person.groups.all()} | ({roles.OWNER} if person.is_superuser else set())
    told = Person.objects.filter(user=person).first() or Person(user=person)
    told.name = person.get_full_name() or person.get_username()
    told.signs_in_as = person.get_username()
    told.roles = ", ".join(role for role in roles.ROLES if role in held)
    told.works_here = person.is_active
    return told


def _tell(person: Any, *, by: Any, sets_password: bool = False, language: str | None = None, why: str = "") -> Person:
    """Write down how somebody stands now, where that is not what was written last."""
    told = standing(person)
    if sets_password:
        told.password_set_at = timezone.now()
    if language is not None:
        told.language = language
    written = Person.objects.filter(pk=told.pk).values(*TOLD).first()
    if written is None or any(getattr(told, name) != value for name, value in written.items()):
        changes.written_by(told, by, why=why)
        told.save()
    return told


def _groups(held: Collection[str]) -> list[Group]:
    """The groups of those names, made where they are missing."""
    return [Group.objects.get_or_create(name=role)[0] for role in roles.ROLES if role in held]
