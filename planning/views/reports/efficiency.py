"""How looms ran, drawn and as tables: efficiency by loom, week and shift, and why they stood."""

from collections.abc import Callable
from datetime import date
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.listing import Column
from mill.refusal import N_
from mill.templatetags.mill import day, hours, num
from planning import running as room_of
from planning.graph import BARE, CROSSED, DOTTED, FULL, LINED, Bar, Box, boxes_svg, ranked_svg, small_svg
from planning.period import Period
from planning.running import Running
from planning.services import running
from planning.views.reports.page import (
    Figure,
    Missing,
    Picture,
    Report,
    Sheet,
    head_day,
    pct,
    said_if,
    show,
    weeks_back,
)

NAME, TITLE = "report_efficiency", N_("Efficiency of the looms")
propose = weeks_back(8)


def report(period: Period, today: date) -> Report:
    parts, weeks = running.parts(period), period.weeks()
    by: dict[str, dict[Any, Running]] = {
        name: room_of.grouped(parts, key, waits=running.WAITS)
        for name, key in (
            ("loom", lambda part: part.loom),
            ("week", lambda part: part.week),
            ("shift", lambda part: part.shift),
            ("each", lambda part: (part.loom, part.week)),
        )
    }
    whole = room_of.running(parts, waits=running.WAITS)
    why = room_of.why_stood(whole)
    return Report(
        title=_(TITLE),
        about=_(
            "Running ÷ (running + stopped), in the looms’ working minutes, by what the floor told. Waits for weft or"
            " weaver, and cleaning, are scheduled time and counted apart."
        ),
        figures=[
            Figure(_("Efficiency"), pct(whole.efficiency_pct)),
            Figure(_("Stood longest for, as told"), _(whole.told[0][0]) if whole.told else "–"),
            Figure(_("Waited"), hours(whole.waited_min)),
            Figure(_("Ran"), hours(whole.running_min)),
            Figure(_("Stood, as told"), hours(whole.told_min)),
            Figure(_("Stood, not told"), hours(whole.untold_min)),
        ],
        small=small_svg(
            [by["week"][monday].efficiency_pct if monday in by["week"] else None for monday in weeks],
            title=_("Efficiency of all looms, week by week"),
        ),
        pictures=[
            Picture(
                _("Each loom, week by week"),
                boxes_svg(
                    [(loom, [_box(by["each"].get((loom, monday))) for monday in weeks]) for loom in by["loom"]],
                    heads=[head_day(monday) for monday in weeks],
                    name="efficiency",
                    title=_("Efficiency of each loom, week by week"),
                    told=_(
                        "A box is the time that a loom was meant to run in a week, filled as far as it ran. The table"
                        " has the percentages."
                    ),
                ),
                [(FULL, _("ran")), (BARE, _("stood"))],
                name="efficiency",
            ),
            Picture(
                _("Where the minutes went"),
                ranked_svg(
                    [_where(loom, own) for loom, own in by["loom"].items()],
                    name="minutes",
                    title=_("Working minutes of each loom"),
                    told=_(
                        "Ran, stood for a reason that was told, stood untold, and waited. The table has the minutes."
                    ),
                ),
                [
                    (FULL, _("ran")),
                    (LINED, _("stood, reason told")),
                    (DOTTED, _("stood, not told")),
                    (CROSSED, _("waited")),
                ],
                name="minutes",
            ),
            Picture(
                _("Why looms stood"),
                ranked_svg(
                    [
                        Bar(_(reason), ((_ink(reason, is_wait), minutes),), f"{hours(minutes)}, {pct(share)}")
                        for reason, minutes, share, is_wait in why
                    ],
                    name="why",
                    title=_("Why looms stood, longest first"),
                    told=_("Minutes by reason. The table has each."),
                ),
                [
                    (LINED, _("told, against the efficiency")),
                    (DOTTED, _("not told, against the efficiency")),
                    (CROSSED, _("a wait, left out of it")),
                ],
                name="why",
            ),
        ],
        sheets=[
            Sheet(
                "looms",
                _("By loom"),
                [Column(gettext_lazy("Loom"), lambda r: r[0], link=_loom), *COLUMNS],
                list(by["loom"].items()),
            ),
            Sheet("weeks", _("By week"), [WEEK, *COLUMNS], list(by["week"].items())),
            Sheet(
                "shifts",
                _("By shift"),
                [Column(gettext_lazy("Shift"), lambda r: r[0]), *COLUMNS],
                list(by["shift"].items()),
            ),
            Sheet("reasons", _("Why looms stood"), REASONS, why),
            Sheet(
                "each",
                _("Each loom and week"),
                [
                    Column(gettext_lazy("Loom"), lambda r: r[0][0], link=lambda r: reverse("loom", args=[r[0][0]])),
                    Column(gettext_lazy("Week from"), lambda r: r[0][1], shown=lambda r: day(r[0][1])),
                    *COLUMNS,
                ],
                list(by["each"].items()),
                is_folded=True,
            ),
        ],
        working=room_of.working(whole),
        notes=[
            _(
                "Picks are divided over weeks and shifts as the loom ran in them, from one count to the next; what was"
                " woven before anybody told the start counts nowhere."
            ),
            *said_if(
                whole.over_min,
                _(
                    "More picks were told than the minutes hold, by %(time)s: somewhere the start was told too late, or"
                    " a counter read wrongly."
                )
                % {"time": hours(whole.over_min)},
            ),
        ],
        missing=None
        if parts
        else Missing(
            _(
                "Nothing was told of the looms in this period. The floor’s page, behind the code of a ticket, takes"
                " starts, stops and pieces."
            ),
            reverse("floor_looms"),
            _("To the floor"),
        ),
        links=[(reverse("actuals"), _("Woven")), (reverse("floor_events"), _("What was told"))],
    )


def _box(own: Running | None) -> Box:
    if own is None or own.efficiency_pct is None:
        return Box(said="–", is_absent=True)
    return Box(((FULL, own.efficiency_pct),), pct(num(own.efficiency_pct, 0)))


def _where(loom: str, own: Running) -> Bar:
    parts = ((FULL, own.running_min), (LINED, own.told_min), (DOTTED, own.untold_min), (CROSSED, own.waited_min))
    return Bar(loom, parts, pct(own.efficiency_pct))


def _ink(reason: str, is_wait: bool) -> str:
    return CROSSED if is_wait else DOTTED if reason == room_of.UNTOLD else LINED


def _loom(row: tuple[str, Running]) -> str:
    return reverse("loom", args=[row[0]])


def _reasons(own: Running, in_words: Callable[[str], str] = str) -> str:
    return ", ".join(f"{in_words(reason)} {hours(minutes)}" for reason, minutes in (*own.told, *own.waits))


WEEK = Column(gettext_lazy("Week from"), lambda r: r[0], shown=lambda r: day(r[0]))
COLUMNS = [
    Column(
        gettext_lazy("Efficiency"),
        lambda r: r[1].efficiency_pct,
        unit="%",
        shown=lambda r: num(r[1].efficiency_pct, 1),
        is_number=True,
    ),
    Column(gettext_lazy("Picks"), lambda r: r[1].tally.picks, shown=lambda r: num(r[1].tally.picks), is_number=True),
    Column(
        gettext_lazy("Metres"),
        lambda r: r[1].tally.length_m,
        unit="m",
        shown=lambda r: num(r[1].tally.length_m, 1),
        is_number=True,
    ),
    Column(
        gettext_lazy("Ran"),
        lambda r: r[1].running_min,
        unit_in_csv="min",
        shown=lambda r: hours(r[1].running_min),
        is_number=True,
    ),
    Column(
        gettext_lazy("Stood, told"),
        lambda r: r[1].told_min,
        unit_in_csv="min",
        shown=lambda r: hours(r[1].told_min),
        is_number=True,
    ),
    Column(
        gettext_lazy("Stood, not told"),
        lambda r: r[1].untold_min,
        unit_in_csv="min",
        shown=lambda r: hours(r[1].untold_min),
        is_number=True,
    ),
    Column(
        gettext_lazy("Waited"),
        lambda r: r[1].waited_min,
        unit_in_csv="min",
        shown=lambda r: hours(r[1].waited_min),
        is_number=True,
    ),
    Column(gettext_lazy("Told of stops"), lambda r: _reasons(r[1]), shown=lambda r: _reasons(r[1], _) or "–"),
]
WAIT, AGAINST = N_("as a wait"), N_("against the efficiency")
REASONS = [
    Column(gettext_lazy("Reason"), lambda r: r[0], shown=lambda r: _(r[0])),
    Column(gettext_lazy("Stood"), lambda r: r[1], unit_in_csv="min", shown=lambda r: hours(r[1]), is_number=True),
    Column(gettext_lazy("Share of all"), lambda r: r[2], unit="%", shown=lambda r: num(r[2], 1), is_number=True),
    Column(gettext_lazy("Counts"), lambda r: WAIT if r[3] else AGAINST, shown=lambda r: _(WAIT if r[3] else AGAINST)),
]


@require_GET
@room("looms")
def page(request: HttpRequest) -> HttpResponse:
    return show(request, name="efficiency", title=_(TITLE), make=report, propose=propose)


urlpatterns = [path("reports/efficiency/", page, name=NAME)]
