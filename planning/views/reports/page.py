"""What every report is on paper: figures, pictures with their key, tables that leave as CSV, and how it is reckoned."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from mill import worked_sheet
from mill.listing import Column, as_csv
from mill.refusal import N_
from mill.signs import written_now
from mill.working import Step
from planning.forms.reports import PeriodForm
from planning.graph import ink_svg
from planning.period import Period

# So many rows of a table stand on the page; all of them are in its CSV.
ROWS_SHOWN = 100


@dataclass(frozen=True)
class Figure:
    """A number at the head of a report, as it is written."""

    label: str
    shown: str
    unit: str = ""


@dataclass(frozen=True)
class Sheet:
    """A table. Its `key` stands in the address of its CSV and in the file's name; a long one is folded away."""

    key: str
    title: str
    columns: Sequence[Column]
    rows: Sequence[Any]
    nothing: str = N_("Nothing in this period.")
    is_folded: bool = False

    @property
    def lines(self) -> list[list[dict[str, Any]]]:
        return [[column.cell(row) for column in self.columns] for row in self.rows[:ROWS_SHOWN]]

    @property
    def not_shown(self) -> int:
        return max(0, len(self.rows) - ROWS_SHOWN)


@dataclass(frozen=True)
class Picture:
    """A drawing, escaped where it was drawn, and what its fillings mean."""

    title: str
    svg: str
    key: Sequence[tuple[str, Any]] = ()
    name: str = "p"

    @property
    def drawn(self) -> SafeString:
        return mark_safe(self.svg)  # noqa: S308 - graph.py escapes all words it is given

    @property
    def inks(self) -> list[tuple[SafeString, Any]]:
        return [
            (mark_safe(ink_svg(ink, name=f"{self.name}-key-{n}")), words)  # noqa: S308 - no words in it
            for n, (ink, words) in enumerate(self.key)
        ]


@dataclass(frozen=True)
class Missing:
    """Why there is nothing to see, and what would mend that."""

    said: str
    address: str = ""
    act: str = ""


@dataclass(frozen=True)
class Report:
    """One report of one period. `small` is its picture seen from afar, for the leaf that shows them all."""

    title: str
    about: str
    figures: Sequence[Figure]
    small: str
    pictures: Sequence[Picture] = ()
    sheets: Sequence[Sheet] = ()
    working: Sequence[Step] = ()
    notes: Sequence[str] = ()
    missing: Missing | None = None
    links: Sequence[tuple[str, str]] = field(default=())

    @property
    def small_drawn(self) -> SafeString:
        return mark_safe(self.small)  # noqa: S308 - graph.py escapes all words it is given


Make = Callable[[Period, date], Report]
Propose = Callable[[date], Period]


def weeks_back(weeks: int) -> Propose:
    """So many whole weeks and this one as far as it has come."""
    return lambda today: Period(today - timedelta(days=today.weekday(), weeks=weeks), today)


def months_back(months: int) -> Propose:
    """From the first of the month so many months ago to today."""

    def propose(today: date) -> Period:
        n = today.year * 12 + today.month - 1 - months
        return Period(date(n // 12, n % 12 + 1, 1), today)

    return propose


def show(request: HttpRequest, *, name: str, title: str, make: Make, propose: Propose) -> HttpResponse:
    """The report's page, or with ?csv=KEY one of its tables. A period that can't be is said beside its field."""
    today = timezone.localdate()
    proposed = propose(today)
    form = PeriodForm({**_days(proposed), **_asked(request)}, proposed=proposed)
    if not form.is_valid():
        told = {"form": form, "title": title, "is_asked": True}
        return render(request, "planning/report.html", told, status=422)
    period = form.cleaned_data["period"]
    report = make(period, today)
    if key := request.GET.get("csv"):
        sheet = next((sheet for sheet in report.sheets if sheet.key == key), None)
        if sheet is None:
            raise Http404
        return as_csv(sheet.rows, sheet.columns, f"{name}-{key}")
    if worked_sheet.is_asked(request):
        back = f"{request.path}?{urlencode(_days(period))}"
        days = {"first": f"{period.first:%d.%m.%Y}", "last": f"{period.last:%d.%m.%Y}"}
        said = _("%(first)s to %(last)s") % days
        parts = [worked_sheet.Part(title, report.working)]
        return worked_sheet.sheet(request, title=title, back=back, parts=parts, notes=[f"{said}. {report.about}"])
    told = {"title": title, "report": report, "period": period, "form": form, "is_asked": bool(_asked(request))}
    return render(request, "planning/report.html", told)


def _asked(request: HttpRequest) -> dict[str, str]:
    return {name: request.GET[name] for name in ("from_day", "to_day") if request.GET.get(name)}


def _days(period: Period) -> dict[str, str]:
    return {"from_day": period.first.isoformat(), "to_day": period.last.isoformat()}


def pct(value: Any) -> str:
    """82.5 %, on one line; a dash where there is nothing to take a share of."""
    return "–" if value is None else f"{str(value).replace('.', written_now().decimal)}\u00a0%"


def short_day(day: date) -> str:
    """23 Nov, as it stands under a column."""
    return _("%(day)s %(month)s") % {"day": day.day, "month": written_now().months[day.month - 1]}


def head_day(day: date) -> str:
    """The same above a narrow box, where a German full stop takes the room that parts two of them."""
    return short_day(day).rstrip(".")


def month_name(month: date) -> str:
    """Nov 26, as it stands under a column."""
    return f"{written_now().months[month.month - 1]} {month:%y}"


def said_if(holds: Any, sentence: str) -> list[str]:
    """A note that is there only where there is something to note."""
    return [sentence] if holds else []
