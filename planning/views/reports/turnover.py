"""Yarn turnover and how long each yarn lasts, drawn and as tables."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET

from inventory import services as store
from inventory import turnover as room_of
from inventory.turnover import Turnover
from mill.desk import room
from mill.listing import Column
from mill.refusal import N_
from mill.templatetags.mill import day, kg, num
from planning.graph import BARE, CROSSED, FULL, Bar, ranked_svg, small_svg
from planning.period import Period
from planning.views.reports.page import Figure, Missing, Picture, Report, Sheet, months_back, said_if, show

NAME, TITLE = "report_turnover", N_("Yarn turnover")
propose = months_back(12)
# So many yarns are drawn; the table has all of them.
DRAWN = 20


def report(period: Period, today: date) -> Report:
    found = store.turnovers(period.first, period.last)
    days = (found.last - found.first).days + 1
    whole = room_of.together((row.turnover for row in found.rows), days=days)
    rows = sorted(found.rows, key=_longest_first)
    idle = [row for row in rows if row.turnover.supply_days is None and row.turnover.on_hand_g]
    drawn = [row for row in rows if row.turnover.supply_days is not None]
    most = sorted(rows, key=lambda row: (-row.turnover.mean_g, row.code))
    idle_g = sum(row.turnover.on_hand_g for row in idle)
    return Report(
        title=_(TITLE),
        about=_(
            "Grams drawn for work in a year ÷ mean grams on hand; and how many days the mean stock lasts at the pace"
            " at which it was drawn."
        ),
        figures=[
            Figure(_("Turnover"), _turns(whole), _("a year")),
            Figure(_("Lasts"), _days(whole), _("days")),
            Figure(
                _("Not drawn at all"),
                kg(idle_g),
                ngettext("kg in %(n)s yarn", "kg in %(n)s yarns", len(idle)) % {"n": len(idle)},
            ),
            Figure(_("Drawn for work"), kg(whole.drawn_g), "kg"),
            Figure(_("Mean stock"), kg(whole.mean_g), "kg"),
            Figure(_("On hand at the end"), kg(whole.on_hand_g), "kg"),
        ],
        small=small_svg([row.turnover.mean_g for row in most[:DRAWN]], title=_("Mean stock by yarn, most first")),
        pictures=[
            Picture(
                _("How long yarns last, longest first"),
                ranked_svg(
                    [
                        Bar(
                            f"{row.code} {row.name}",
                            (_lasts(row.turnover),),
                            _("%(days)s days, %(kg)s kg")
                            % {"days": _days(row.turnover), "kg": kg(row.turnover.mean_g)},
                        )
                        for row in drawn[:DRAWN]
                    ],
                    name="lasts",
                    title=_("Days that the mean stock of a yarn lasts, longest first"),
                    told=_("Each yarn with its days and the kilograms in the mean. The table has all of them."),
                ),
                [(FULL, _("days")), (CROSSED, _("more than a year: cut off there"))],
                name="lasts",
            ),
            Picture(
                _("Where the kilograms lie"),
                ranked_svg(
                    [
                        Bar(
                            f"{row.code} {row.name}",
                            ((FULL if row.turnover.drawn_g > 0 else BARE, row.turnover.mean_g),),
                            _("%(kg)s kg, %(turns)s turns")
                            % {"kg": kg(row.turnover.mean_g), "turns": _turns(row.turnover)},
                        )
                        for row in most[:DRAWN]
                    ],
                    name="mean",
                    title=_("Mean stock by yarn, most first"),
                    told=_("Each yarn with its kilograms in the mean and its turns a year. The table has all of them."),
                ),
                [(FULL, _("drawn in this period")), (BARE, _("not drawn at all"))],
                name="mean",
            ),
        ],
        sheets=[Sheet("yarns", _("By yarn, longest lasting first"), COLUMNS, rows)],
        working=room_of.working(whole),
        notes=[
            _(
                "Drawn for work: draws less what came back and what was taken back. Waste, counts and corrections"
                " change the stock and are no draw."
            ),
            *said_if(
                found.rows and found.first != period.first,
                _("The ledger begins on %(on)s: days before it are not counted.") % {"on": day(found.first)},
            ),
            *said_if(found.rows and found.last != period.last, _("Days that are still to come are not counted.")),
        ],
        missing=None if found.rows else _missing(period, today),
        links=[(reverse("yarn"), _("Yarn"))],
    )


def _missing(period: Period, today: date) -> Missing:
    if period.first > today:
        return Missing(_("This period is still to come. Write an earlier first day."))
    return Missing(_("No yarn has come in or gone out by the end of this period."), reverse("lots"), _("See the lots"))


def _longest_first(row: Any) -> tuple[bool, Decimal, str]:
    """What nobody draws lasts for ever; among those, the most first."""
    lasts = row.turnover.supply_days
    return lasts is not None, -lasts if lasts is not None else Decimal(-row.turnover.mean_g), row.code


def _lasts(one: Turnover) -> tuple[str, Decimal]:
    """So that one yarn that lasts for ten years leaves the others something to be seen of."""
    lasts = one.supply_days or Decimal(0)
    return (FULL, lasts) if lasts <= room_of.YEAR_DAYS else (CROSSED, Decimal(room_of.YEAR_DAYS))


def _turns(one: Turnover) -> str:
    return num(one.turns, 1)


def _days(one: Turnover) -> str:
    return num(one.supply_days, 0)


def _places(value: Decimal | None, places: str) -> Decimal | None:
    return None if value is None else value.quantize(Decimal(places), ROUND_HALF_UP)


COLUMNS = [
    Column(gettext_lazy("Yarn"), lambda r: r.code, link=lambda r: reverse("yarn_one", args=[r.code])),
    Column(gettext_lazy("Colour"), lambda r: r.name),
    Column(
        gettext_lazy("Drawn for work"),
        lambda r: r.turnover.drawn_g,
        unit="g",
        shown=lambda r: num(r.turnover.drawn_g),
        is_number=True,
    ),
    Column(
        gettext_lazy("Mean stock"),
        lambda r: round(r.turnover.mean_g),
        unit="g",
        shown=lambda r: num(round(r.turnover.mean_g)),
        is_number=True,
    ),
    Column(
        gettext_lazy("On hand at the end"),
        lambda r: r.turnover.on_hand_g,
        unit="g",
        shown=lambda r: num(r.turnover.on_hand_g),
        is_number=True,
    ),
    Column(
        gettext_lazy("Turnover"),
        lambda r: _places(r.turnover.turns, "0.01"),
        unit=gettext_lazy("a year"),
        shown=lambda r: num(r.turnover.turns, 1),
        is_number=True,
    ),
    Column(
        gettext_lazy("Lasts"),
        lambda r: _places(r.turnover.supply_days, "0.1"),
        unit=gettext_lazy("days"),
        shown=lambda r: num(r.turnover.supply_days, 0) if r.turnover.supply_days is not None else _("not drawn"),
        is_number=True,
    ),
]


@require_GET
@room("yarn")
def page(request: HttpRequest) -> HttpResponse:
    return show(request, name="turnover", title=_(TITLE), make=report, propose=propose)


urlpatterns = [path("reports/turnover/", page, name=NAME)]
