"""A form, or a program, that changes a record while others may: the faces of `meanwhile.py`.

The second of two to write is shown both versions, field by field, with who wrote the other and when. Nothing is written
over and nothing typed is lost; field by field, or whole, they take theirs or keep what stands.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import pairwise
from typing import Any

from django import forms
from django.db import models
from django.http import HttpRequest, QueryDict
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from mill import roles
from mill.language import called
from mill.meanwhile import UNKNOWN, Meanwhile, name_of, seen_by, version_of
from mill.refusal import Refusal
from mill.templatetags.mill import day, moment, num

STANDS, MINE = "stands", "mine"
# More often nobody saves in the moment that a form takes to be read again.
TRIES = 5


@dataclass(frozen=True)
class Both:
    """One field of a record in both versions, in words."""

    name: str
    label: str
    opened: str
    stands: str
    mine: str
    by: str
    choice: str
    is_asked: bool

    @property
    def radio(self) -> str:
        return f"take-{self.name}"


class Edit:
    """A form over a record that others may change while it lies open.

    form_of    makes the form from what was sent, or None, and the record
    row        the record; None while a new one is written
    request    None where the form is opened on the page of another that was sent; whoever may look here and not write
               is shown the fields shut

    A form's `told_of` names its fields that an earlier version of the record tells of and that are no columns of it.

    For the template: `edit` with `opened`, the version in a hidden field, and `both`, the fields to choose in.
    """

    def __init__(
        self,
        request: HttpRequest | None,
        row: Any,
        form_of: Callable[[QueryDict | None, Any], Any],
        *,
        is_write: bool = True,
    ) -> None:
        sent = request.POST if request is not None and request.method == "POST" else None
        self.row, self.form_of = row, form_of
        self.is_sent = sent is not None and is_write
        self.both: list[Both] = []
        self.last_by, self.last_at = "", ""
        self.shown = ""
        self.written: Any = None
        self.choices: dict[str, str] = {}
        if row is None or sent is None:
            self.opened = version_of(row) if row is not None else ""
            self.seen: str | None = self.opened or None
            self.data: QueryDict | None = sent
        else:
            self.opened = sent.get("opened", "")
            self.seen = sent.get("shown") or self.opened or None
            self.data = self._chosen(sent)
        self.form = form_of(self.data, row)
        if request is not None and not roles.may_act(request.user, request.resolver_match):
            for field in self.form.fields.values():
                field.disabled = True

    def _chosen(self, sent: QueryDict) -> QueryDict:
        """What was sent, with what stands in the fields for which that was chosen."""
        names = sent.getlist("both")
        whole = sent.get("whole", "")
        self.choices = {name: whole or sent.get(f"take-{name}", "") for name in names}
        if not any(choice == STANDS for choice in self.choices.values()) or not self._are_all_chosen():
            return sent
        standing, data = self.form_of(None, self._fresh()), sent.copy()
        for name, choice in self.choices.items():
            if choice == STANDS and name in standing.fields:
                _put(data, standing, name)
        return data

    def _are_all_chosen(self) -> bool:
        return all(choice in {STANDS, MINE} for choice in self.choices.values())

    def _fresh(self) -> Any:
        return get_object_or_404(type(self.row)._base_manager, pk=self.row.pk)

    def is_valid(self) -> bool:
        """It was sent to be written, and can be read."""
        return self.is_sent and bool(self.form.is_valid())

    def is_written(self, verb: Callable[[Any, str | None], Any]) -> bool:
        """Whether the verb did it, with the form and the version that was seen; `written` is what it gave.

        Its no stands beside the field that it is about, above the form when nobody sees that one. When somebody else
        was quicker, the page is to be shown again with `both`.
        """
        if not self._are_all_chosen() and self._compare():
            return False
        for _try in range(TRIES):
            try:
                self.written = verb(self.form, self.seen)
                return True
            except Meanwhile as moved:
                if self._compare():
                    return False
                # What was changed is none of what this form holds: on with the record as it is now.
                self.seen = moved.version
                self.form = self.form_of(self.data, self._fresh())
                if not self.form.is_valid():
                    return False
            except Refusal as refusal:
                beside(self.form, refusal)
                return False
        busy = _("%(row)s is being changed by others all the time. Write it down once more.")
        self.form.add_error(None, busy % {"row": called(self.row)})
        return False

    def _compare(self) -> bool:
        """Put the two versions beside each other, if they differ in a field that was changed since it was opened."""
        now = self._fresh()
        self.shown = version_of(now)
        lines = self._lines()
        standing = self.form_of(None, now)
        before = self.form_of(None, lines[0].instance) if lines else None
        columns = {field.name for field in type(now)._meta.concrete_fields} | getattr(self.form, "told_of", set())
        both = []
        has_moved = False
        for name, field in self.form.fields.items():
            if field.widget.is_hidden or name not in standing.fields:
                continue
            mine, stands = self.form.cleaned_data.get(name), _value(standing, name)
            if _like(mine) == _like(stands):
                continue
            is_known = before is not None and name in columns
            opened = _value(before, name) if is_known else None
            is_moved = not is_known or _like(opened) != _like(stands)
            is_mine = not is_known or _like(opened) != _like(mine)
            has_moved |= is_moved
            choice = self.choices.get(name, "") or ("" if is_moved and is_mine else STANDS if is_moved else MINE)
            both.append(
                Both(
                    name=name,
                    label=_(str(field.label or name.replace("_", " ").capitalize())),
                    opened=_words(field, opened) if is_known else "",
                    stands=_words(standing.fields[name], stands),
                    mine=_words(field, mine),
                    by=_who(lines, name) if is_moved else "",
                    choice=choice,
                    is_asked=name in self.choices and not self.choices[name],
                )
            )
        if not has_moved:
            return False
        self.both = both
        last = lines[-1] if lines else None
        self.last_by = name_of(last.history_user) if last else _("somebody")
        self.last_at = moment(last.history_date) if last else ""
        return True

    def _lines(self) -> list[Any]:
        """Its versions from the one that was opened to the one that stands; none when that one is not known."""
        if not self.opened.isdecimal() or len(self.opened) > 18 or self.opened == UNKNOWN:
            return []
        history = type(self.row).history.filter(id=self.row.pk, history_id__gte=int(self.opened))
        lines = list(history.order_by("history_id").select_related("history_user"))
        return lines if lines and str(lines[0].history_id) == self.opened else []


def beside(form: Any, refusal: Refusal) -> None:
    """A no beside the field that it is about; above the form when nobody sees that one."""
    is_seen = refusal.field in form.fields and not form.fields[refusal.field].widget.is_hidden
    form.add_error(refusal.field if is_seen else None, refusal.message)


def _who(lines: list[Any], name: str) -> str:
    """Who wrote the field as it stands, and when."""
    if len(lines) < 2:
        return ""
    attname = next((f.attname for f in type(lines[0].instance)._meta.concrete_fields if f.name == name), None)
    pairs = list(pairwise(lines))
    wrote = [after for before, after in pairs if attname and getattr(before, attname) != getattr(after, attname)]
    line = (wrote or lines)[-1]
    return f"{name_of(line.history_user)}, {moment(line.history_date)}"


def _value(form: Any, name: str) -> Any:
    return form.get_initial_for_field(form.fields[name], name)


def _like(value: Any) -> Any:
    """The same for what a form shows alike: a record and its number, 60 and 60.00."""
    if isinstance(value, models.Model):
        return value.pk
    if value is None:
        return ""
    if isinstance(value, str):
        return value.strip().replace("\r\n", "\n")
    if isinstance(value, list):
        return sorted(value)
    return value


def _words(field: forms.Field, value: Any) -> str:
    if isinstance(field, forms.BooleanField):
        return _("yes") if value else _("no")
    if value in (None, "", []):
        return _("nothing")
    if isinstance(value, list):
        return ", ".join(_(one) if isinstance(one, str) else called(one) for one in value)
    if isinstance(value, models.Model):
        return called(value)
    if isinstance(field, forms.ChoiceField):
        return next((_(label) for key, label in _flat(field.choices) if str(key) == str(value)), str(value))
    if isinstance(value, datetime):
        return moment(value)
    if isinstance(value, date):
        return day(value)
    unit = f" {said}" if (said := getattr(field, "unit", "")) else ""
    value = field.prepare_value(value)
    return f"{num(value) if isinstance(value, Decimal | int) else value}{unit}"


def _flat(choices: Any) -> Iterator[tuple[Any, str]]:
    for key, label in choices:
        if isinstance(label, list | tuple):
            yield from _flat(label)
        else:
            yield key, str(label)


def _put(data: QueryDict, form: Any, name: str) -> None:
    """Into what was sent: the field as a browser would send it from this form, untouched."""
    bound = form[name]
    value = bound.value()
    key = bound.html_name
    widget = bound.field.widget
    if isinstance(value, list):
        data.setlist(key, value)
    elif isinstance(widget, forms.CheckboxInput):
        data.pop(key, None)
        if value:
            data[key] = "on"
    elif isinstance(widget, forms.Select):
        data[key] = "" if value is None else str(value)
    else:
        said = widget.format_value(value)
        data[key] = "" if said is None else str(said)


class Versioned:
    """A view of the API over one record: its version goes out as `ETag`, and `If-Match` is held against it.

    Both are of the record as people edit it; what is reckoned from it, or stands beside it, has no part in the tag.
    """

    # What the view does that is about one record and its version.
    of_one: frozenset[str] = frozenset({"retrieve", "partial_update", "destroy"})

    def versioned(self) -> Any:
        """The record that the request is about, or None."""
        return getattr(self, "_versioned", None)

    def get_object(self) -> Any:
        self._versioned = super().get_object()  # type: ignore[misc]
        return self._versioned

    def mark(self, row: Any) -> str:
        """What tells the version that stands from every other."""
        return version_of(row)

    def seen(self, row: Any) -> str | None:
        """The version that the request is willing to change."""
        request: Request = self.request  # type: ignore[attr-defined]
        header = request.headers.get("If-Match")
        return None if header is None else seen_by(header, self.mark(row))

    def finalize_response(self, request: Any, response: Response, *args: Any, **kwargs: Any) -> Response:
        answer: Response = super().finalize_response(request, response, *args, **kwargs)  # type: ignore[misc]
        if is_of_one(self) and answer.status_code == 200 and request.method in {"GET", "HEAD", "PATCH", "PUT"}:
            row = self.versioned()
            if row is not None:
                answer.headers["ETag"] = f'"{self.mark(row)}"'
        return answer


def is_of_one(view: Any) -> bool:
    """Whether a request to this view of the API is about one record and its version."""
    return isinstance(view, Versioned) and getattr(view, "action", "retrieve") in view.of_one
