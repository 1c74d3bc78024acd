"""The account of changes: who changed what and when, on every record that people edit.

django-simple-history keeps a row of each version of a record. Triggers of the database keep those rows from being
changed or taken away, and copy the bare fact of each into `mill.Change`, whoever wrote it and however: by a form, in
bulk, by an import or by hand in the database's own language. That one table is the account's list and its feed.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from itertools import islice
from types import SimpleNamespace
from typing import Any

from django.apps import apps
from django.db import connection, models, transaction
from django.db.models import Max, OuterRef, QuerySet, Subquery
from django.db.models.query import ModelIterable
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from simple_history.models import HistoricalRecords

from mill import language, roles
from mill.labels import UNITS, WORDS
from mill.models import Change
from mill.refusal import Refusal
from mill.retold import told_again
from mill.templatetags.mill import num

AT_ONCE = 500
# Kinds whose changes are for whoever may read a page.
READ_AT = {
    "mill.person": "people",
    "planning.rate": "rates",
    "planning.yarnprice": "prices",
    "planning.quote": "quotes",
}
# What keeps two requests one, or a program's own mark: nothing that anybody edits.
NOT_TOLD = {"key", "token", "steps"}


@cache
def kept() -> dict[str, type[models.Model]]:
    """Every model whose changes are kept, by its label: planning.loom."""
    return {
        model._meta.label_lower: model
        for model in apps.get_models()
        if hasattr(model._meta, "simple_history_manager_attribute")
    }


def _history(model: type[models.Model]) -> Any:
    return model.history.model  # type: ignore[attr-defined]


def kind_said(kind: str) -> str:
    """A kind of record in words: shift pattern."""
    model = kept().get(kind)
    return _(str(model._meta.verbose_name)) if model else kind


def why_said(why: str) -> str:
    """Why a record was changed, in the language of the page where the book said it itself."""
    return told_again(why)


def of(kind: str, pk: int) -> QuerySet[Change]:
    """What became of a record and of its parts.

    A part says in `told_with` with which kinds it is told, and the way there: {"planning.cloth": "spec__cloth"}.
    """
    wanted = models.Q(kind=kind, row_pk=pk)
    for part, model in kept().items():
        way = getattr(model, "told_with", {}).get(kind)
        if way:
            versions = _history(model).objects.filter(**{way: pk}).order_by().values("history_id")
            wanted |= models.Q(kind=part, history_id__in=versions)
    return Change.objects.filter(wanted)


def kept_from(held: frozenset[str]) -> list[str]:
    """Kinds that somebody with these roles may not read of: those of pages that they may not read either."""
    return [kind for kind, page in READ_AT.items() if not roles.may(held, page)]


def page_of(kind: str, pk: int) -> str:
    """The address of all that became of a record."""
    return reverse("changes_of", args=[kind, pk])


# Writing


@transaction.atomic
def update(rows: QuerySet[Any], *, by: Any = None, why: str = "", **columns: Any) -> int:
    """`rows.update(**columns)` that leaves a line of the account for each row; how many they were."""
    model = rows.model
    keys = sorted(rows.values_list("pk", flat=True))
    model._default_manager.filter(pk__in=keys).update(**columns)
    after = model._default_manager.filter(pk__in=keys).order_by("pk")
    _history(model).objects.bulk_create(
        [_line(row, by=by, why=why) for row in after],
        batch_size=AT_ONCE,
    )
    return len(keys)


def _line(row: models.Model, *, by: Any, why: str) -> models.Model:
    line = _history(type(row))
    columns = {field.attname: getattr(row, field.attname) for field in line.tracked_fields}
    user = person(by) or line.get_default_history_user(row)
    said = why[:100] or None
    return line(history_date=timezone.now(), history_user=user, history_change_reason=said, history_type="~", **columns)


@contextmanager
def by(user: Any) -> Iterator[None]:
    """Whose changes these are, where no request says so: an import, a command, a job that somebody asked for."""
    context = HistoricalRecords.context
    before = getattr(context, "request", None)
    context.request = SimpleNamespace(user=user)
    try:
        yield
    finally:
        context.request = before


def person(by: Any) -> Any:
    """Who it was, for a column of the record's own; None where nobody is signed in."""
    return by if by is not None and by.is_authenticated else None


def written_by(row: models.Model, by: Any, *, why: str = "") -> None:
    """Say before `row.save()` whose change it is. Without it the account takes whoever sent the request."""
    if person(by) is not None:
        row._history_user = by  # type: ignore[attr-defined]
    if why:
        row._change_reason = why[:100]  # type: ignore[attr-defined]


# Reading


@dataclass(frozen=True)
class Altered:
    """One figure of a record, before and after, in words."""

    label: str
    before: str
    after: str


class Told(ModelIterable):
    """Changes with their words beside them: `record`, `why` and `altered`. Queries by kinds, not by rows."""

    def __iter__(self) -> Iterator[Change]:
        rows = super().__iter__()
        while chunk := list(islice(rows, AT_ONCE)):
            _describe(chunk)
            yield from chunk


def told(rows: QuerySet[Change]) -> QuerySet[Change]:
    """The same changes, each with `record` (its name), `why` and `altered`."""
    rows = rows.select_related("by")
    rows._iterable_class = Told
    return rows


def _describe(chunk: list[Change]) -> None:
    by_kind: dict[str, list[Change]] = defaultdict(list)
    for change in chunk:
        by_kind[change.kind].append(change)
    pairs: list[tuple[Change, Any, Any]] = []
    for kind, changes in by_kind.items():
        model = kept().get(kind)
        if model is None:
            pairs += [(change, None, None) for change in changes]
            continue
        line = _history(model)
        earlier = line.objects.filter(id=OuterRef("id"), history_id__lt=OuterRef("history_id")).order_by()
        last = earlier.values("id").annotate(last=Max("history_id")).values("last")
        now = {
            row.history_id: row
            for row in line.objects.filter(history_id__in=[change.history_id for change in changes]).annotate(
                before_id=Subquery(last)
            )
        }
        before = line.objects.in_bulk([row.before_id for row in now.values() if row.before_id])
        for change in changes:
            after = now.get(change.history_id)
            pairs.append((change, after, before.get(after.before_id) if after else None))
    names = _names(row for _, *rows in pairs for row in rows if row is not None)
    for change, after, before in pairs:
        change.record = _said(after, names)
        change.why = (after.history_change_reason or "") if after is not None else ""
        change.altered = _altered(before, after, names) if before is not None and change.what == "~" else []


def _fields(line: Any) -> list[Any]:
    return [
        field
        for field in line.tracked_fields
        if field.editable and not field.primary_key and field.name not in NOT_TOLD
    ]


def _names(lines: Iterable[Any]) -> dict[tuple[Any, Any], str]:
    """What the records that are pointed at are called now; a query for each kind of them."""
    wanted: dict[Any, set[Any]] = defaultdict(set)
    for line in lines:
        for field in _fields(line):
            if field.is_relation and getattr(line, field.attname) is not None:
                wanted[field.related_model].add(getattr(line, field.attname))
    return {
        (model, row.pk): language.called(row)
        for model, keys in wanted.items()
        for row in _with_names(model).filter(pk__in=keys)
    }


def _with_names(model: Any) -> Any:
    """Rows whose names need no more queries."""
    related = [field.name for field in model._meta.concrete_fields if field.is_relation]
    return model._default_manager.select_related(*related) if related else model._default_manager.all()


def _said(line: Any, names: dict[tuple[Any, Any], str]) -> str:
    """What a version of a record was called."""
    if line is None:
        return "?"
    for name in ("code", "number", "label", "name"):
        if getattr(line, name, ""):
            return str(getattr(line, name))
    relations = [field for field in _fields(line) if field.is_relation and field.name != "by"]
    # A letter stands for a yarn in a colourway, of which the revision has several.
    owner = next((field for field in relations if hasattr(line, "letter") and field.name == "colourway"), None)
    owner = owner or next(iter(relations), None)
    if owner is not None and (owned := names.get((owner.related_model, getattr(line, owner.attname)))):
        if hasattr(line, "letter"):
            return _("%(what)s, letter %(letter)s") % {"what": owned, "letter": line.letter}
        if hasattr(line, "position"):
            return _("%(what)s, line %(position)s") % {"what": owned, "position": line.position}
        return owned
    return _("no. %(n)s") % {"n": line.id}


def _altered(before: Any, after: Any, names: dict[tuple[Any, Any], str]) -> list[Altered]:
    return [
        Altered(_label(field), _value(field, before, names), _value(field, after, names))
        for field in _fields(after)
        if getattr(before, field.attname) != getattr(after, field.attname)
    ]


def _label(field: Any) -> str:
    if field.name in WORDS:
        return _(str(WORDS[field.name]))
    name, unit = field.name, ""
    for ending, said in UNITS.items():
        if field.name.endswith(f"_{ending}"):
            name, unit = field.name.removesuffix(f"_{ending}"), said
            break
    words = _(name.removeprefix("is_").replace("_", " ").capitalize())
    return f"{words} ({_(unit)})" if unit else words


def _value(field: Any, line: Any, names: dict[tuple[Any, Any], str]) -> str:
    value = getattr(line, field.attname)
    if value is None or value == "":
        return _("nothing")
    if field.is_relation:
        return names.get((field.related_model, value)) or _("no. %(n)s") % {"n": value}
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(field, models.DecimalField | models.IntegerField):
        return num(value)
    if isinstance(field, models.DateTimeField):
        return f"{timezone.localtime(value):%d.%m.%Y %H:%M}"
    if isinstance(field, models.DateField):
        return f"{value:%d.%m.%Y}"
    words = dict(field.flatchoices).get(value)
    return _(str(words)) if words else told_again(str(value))


# The feed


def since(cursor: str, *, at_most: int, without: Iterable[str] = ()) -> tuple[list[Change], str]:
    """Changes after a cursor, oldest first, and the cursor to go on from.

    without    kinds of record that are left out

    On PostgreSQL a transaction that began earlier may be confirmed later. Each line carries the number of its
    transaction; the feed is ordered by that number, then by line, and ends before the oldest transaction that is
    still open: what it has not shown yet can only come after what it has. SQLite writes one transaction at a time,
    so there the order of lines is the order of confirmation.
    """
    transaction_id, number = read_cursor(cursor)
    rows = (
        Change.objects.exclude(kind__in=list(without))
        .order_by("transaction_id", "pk")
        .filter(models.Q(transaction_id__gt=transaction_id) | models.Q(transaction_id=transaction_id, pk__gt=number))
    )
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as asked:
                asked.execute("SELECT pg_snapshot_xmin(pg_current_snapshot())::text::bigint + told_before()")
                rows = rows.filter(transaction_id__lt=asked.fetchone()[0])
        found = list(told(rows)[:at_most])
    if found:
        cursor = found[-1].cursor
    return found, cursor


def read_cursor(cursor: str) -> tuple[int, int]:
    transaction_id, dash, number = cursor.partition("-")
    parts = (transaction_id, number)
    # Up to 18 figures, so that each fits the database's own whole numbers.
    if not dash or not all(part.isascii() and part.isdecimal() and len(part) <= 18 for part in parts):
        raise Refusal(
            f"{cursor!r} is no cursor of this feed. Take the one of the last answer, or 0-0 to begin.", field="since"
        )
    return int(transaction_id), int(number)


# The triggers

TOLD_ONCE = "The account of changes is only added to."


def guard(**kwargs: Any) -> None:
    """Have the database itself keep the account; after every migration, since SQLite makes changed tables anew.

    A kind that is kept for the first time is copied into the list as far as its versions were kept already.
    """
    tables = set(connection.introspection.table_names())
    if Change._meta.db_table not in tables:
        return
    standing = _standing()
    with transaction.atomic(), connection.cursor() as cursor:
        before = _told_before(cursor, is_new=not standing)
        for kind, model in kept().items():
            table = _history(model)._meta.db_table
            if table not in tables or f"told_{table}" in standing:
                continue
            cursor.execute(_copied(kind, table), [kind, kind])
            for statement in _created(kind, table, before):
                cursor.execute(statement)
        if f"kept_{Change._meta.db_table}" not in standing:
            for statement in _kept_whole(Change._meta.db_table):
                cursor.execute(statement)


def missing() -> list[str]:
    """Kinds of record whose account the database does not keep, in words: there should be none."""
    standing = _standing()
    return [
        kind_said(kind)
        for kind, model in kept().items()
        if not {f"told_{_history(model)._meta.db_table}", f"kept_{_history(model)._meta.db_table}"} <= standing.keys()
    ]


def _told_before(cursor: Any, *, is_new: bool) -> int:
    """The transaction up to which a restored book was told elsewhere: its own are counted on from there.

    So a cursor that a program was given before still means the same place. 0 in a book that began here.
    """
    cursor.execute("SELECT COALESCE(MAX(transaction_id), 0) FROM mill_change")
    last = int(cursor.fetchone()[0])
    if connection.vendor != "postgresql":
        return last
    cursor.execute("SELECT to_regprocedure('told_before()') IS NOT NULL")
    if not cursor.fetchone()[0]:
        cursor.execute(
            "CREATE FUNCTION told_before() RETURNS bigint LANGUAGE sql IMMUTABLE PARALLEL SAFE"
            f" AS $$ SELECT {last if is_new else 0}::bigint $$"
        )
    return 0


def unguard() -> None:
    """For tests that empty the book behind them."""
    with transaction.atomic(), connection.cursor() as cursor:
        for trigger, table in _standing().items():
            on = f' ON "{table}"' if connection.vendor == "postgresql" else ""
            cursor.execute(f'DROP TRIGGER IF EXISTS "{trigger}"{on}')


def _standing() -> dict[str, str]:
    """Our triggers by name, with their tables."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
                " WHERE NOT t.tgisinternal AND (t.tgname LIKE 'told\\_%%' OR t.tgname LIKE 'kept\\_%%')"
                " AND c.relnamespace = current_schema()::regnamespace"
            )
        else:
            cursor.execute(
                "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'"
                " AND (name LIKE 'told\\_%' ESCAPE '\\' OR name LIKE 'kept\\_%' ESCAPE '\\')"
            )
        return dict(cursor.fetchall())


# Names of tables and columns below are our own models', never anybody's words.
COLUMNS = "at, kind, row_pk, what, history_id, by_id, transaction_id"


def _copied(kind: str, table: str) -> str:
    return (
        f"INSERT INTO mill_change ({COLUMNS})"
        f' SELECT history_date, %s, id, history_type, history_id, history_user_id, 0 FROM "{table}"'
        " WHERE NOT EXISTS (SELECT 1 FROM mill_change WHERE kind = %s) ORDER BY history_id"
    )


def _created(kind: str, table: str, before: int) -> list[str]:
    values = f"NEW.history_date, '{kind}', NEW.id, NEW.history_type, NEW.history_id, NEW.history_user_id"
    if connection.vendor == "postgresql":
        return [
            f"CREATE OR REPLACE FUNCTION told_{table}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
            f" INSERT INTO mill_change ({COLUMNS})"
            f" VALUES ({values}, pg_current_xact_id()::text::bigint + told_before());"
            " RETURN NULL; END $$",
            f"CREATE TRIGGER told_{table} AFTER INSERT ON {table} FOR EACH ROW EXECUTE FUNCTION told_{table}()",
            *_kept_whole(table),
        ]
    return [
        f"CREATE TRIGGER told_{table} AFTER INSERT ON {table}"
        f" BEGIN INSERT INTO mill_change ({COLUMNS}) VALUES ({values}, {before}); END",
        *_kept_whole(table),
    ]


def _kept_whole(table: str) -> list[str]:
    if connection.vendor == "postgresql":
        return [
            "CREATE OR REPLACE FUNCTION account_is_only_added_to() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
            f" RAISE EXCEPTION '{TOLD_ONCE}' USING ERRCODE = 'integrity_constraint_violation'; END $$",
            f"CREATE TRIGGER kept_{table} BEFORE UPDATE OR DELETE ON {table}"
            " FOR EACH ROW EXECUTE FUNCTION account_is_only_added_to()",
        ]
    return [
        f"CREATE TRIGGER kept_{table} BEFORE UPDATE ON {table} BEGIN SELECT RAISE(ABORT, '{TOLD_ONCE}'); END",
        f"CREATE TRIGGER kept_{table}_rows BEFORE DELETE ON {table} BEGIN SELECT RAISE(ABORT, '{TOLD_ONCE}'); END",
    ]


def kinds() -> list[tuple[str, str]]:
    """Choices of a filter: every kind of record, in words."""
    return sorted(((kind, kind_said(kind)) for kind in kept()), key=lambda pair: pair[1])
