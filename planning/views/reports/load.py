"""The looms' load in the weeks to come, drawn and as tables."""

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.listing import Column
from mill.refusal import N_
from mill.templatetags.mill import day, hours, num
from planning import load as room_of
from planning.graph import FULL, LINED, Bar, Box, boxes_svg, columns_svg, small_svg
from planning.load import Load
from planning.period import Period, week_of
from planning.services import load
from planning.views.reports.page import Figure, Missing, Picture, Report, Sheet, head_day, pct, short_day, show

NAME, TITLE = "report_load", N_("Load of the looms ahead")
WEEKS = 12
KEY = [(FULL, gettext_lazy("weaving")), (LINED, gettext_lazy("set-up"))]
CLOSED = N_("closed")


def propose(today: date) -> Period:
    return Period(today, week_of(today) + timedelta(weeks=WEEKS, days=-1))


def report(period: Period, today: date) -> Report:
    there = load.ahead(period)
    weeks = list(zip(there.weeks, room_of.week_by_week(there.looms, len(there.weeks)), strict=True))
    whole = room_of.together(one for _, one in weeks)
    fullest = max(weeks, key=lambda week: week[1].load_pct or 0, default=None)
    looms = {code: room_of.together(own) for code, own in there.looms.items()}
    tightest = max(looms, key=lambda code: looms[code].load_pct or 0, default=None)
    return Report(
        title=_(TITLE),
        about=_("Working minutes that the plan in force takes of each loom, of those that its hours leave open."),
        figures=[
            Figure(_("Load"), pct(whole.load_pct)),
            Figure(_("The fullest week"), _with_load(short_day(fullest[0]), fullest[1]) if fullest else "–"),
            Figure(_("The fullest loom"), _with_load(tightest, looms[tightest]) if tightest else "–"),
            Figure(_("Free"), hours(whole.free_min)),
            Figure(_("Weaving"), hours(whole.weaving_min)),
            Figure(_("Set-up"), hours(whole.setup_min)),
        ],
        small=small_svg([one.load_pct for _, one in weeks], title=_("Load of all looms, week by week")),
        pictures=[
            Picture(
                _("Each loom, week by week"),
                boxes_svg(
                    [(code, [_box(one) for one in own]) for code, own in there.looms.items()],
                    heads=[head_day(monday) for monday in there.weeks],
                    name="load",
                    title=_("Load of each loom, week by week"),
                    told=_(
                        "A box is a loom's open hours of a week, filled as far as planned warps take them. The table"
                        " has the percentages."
                    ),
                ),
                KEY,
                name="load",
            ),
            Picture(
                _("All looms together"),
                columns_svg(
                    [_column(monday, one) for monday, one in weeks],
                    name="load-all",
                    title=_("Hours of all looms, week by week"),
                    told=_("%(taken)s of %(open)s are taken. The table has each week.")
                    % {"taken": hours(whole.taken_min), "open": hours(whole.open_min)},
                    unit=_("hours"),
                ),
                KEY,
                name="load-all",
            ),
        ],
        sheets=[
            Sheet(
                "weeks",
                _("By week"),
                [Column(gettext_lazy("Week from"), lambda r: r[0], shown=lambda r: day(r[0])), *COLUMNS],
                weeks,
            ),
            Sheet("looms", _("By loom, percent of each week"), _by_loom(there), list(there.looms.items())),
            Sheet(
                "each",
                _("Each loom and week"),
                [
                    Column(gettext_lazy("Loom"), lambda r: r[2], link=lambda r: reverse("loom", args=[r[2]])),
                    Column(gettext_lazy("Week from"), lambda r: r[0], shown=lambda r: day(r[0])),
                    *COLUMNS,
                ],
                [(monday, own[n], code) for code, own in there.looms.items() for n, monday in enumerate(there.weeks)],
                is_folded=True,
            ),
        ],
        working=room_of.working(whole),
        notes=[
            _(
                "Open: the hours of the loom's shift pattern, less closures of the mill and of the loom; this week from"
                " now on. A set-up that lies over a night takes no minute of the night."
            ),
            *(
                _("Loom %(loom)s is held: nothing new is planned on it, and its hours count as open.") % {"loom": code}
                for code in sorted(there.held)
            ),
        ],
        missing=_missing(there),
        links=[(reverse("board"), _("Loom board"))],
    )


def _with_load(name: str, one: Load) -> str:
    """A dash where nothing is planned, for then none is the fullest."""
    return f"{name}, {pct(one.load_pct)}" if one.load_pct else "–"


def _missing(there: load.Ahead) -> Missing | None:
    if not there.looms:
        return Missing(_("There is no loom in the book yet."), reverse("loom_new"), _("Write the first one down"))
    if there.run is None:
        return Missing(
            _("No plan is in force, so that nothing is known of the weeks to come."),
            reverse("looms"),
            _("Plan the looms"),
        )
    if not there.weeks:
        return Missing(_("This period is past; the plan speaks of what is to come. Write a later last day."))
    return None


def _box(one: Load) -> Box:
    if not one.open_min:
        return Box(said=_(CLOSED), is_shut=True)
    weaving, setup = one.share_pct(one.weaving_min), one.share_pct(one.setup_min)
    return Box(((FULL, weaving or 0), (LINED, setup or 0)), pct(num(one.load_pct, 0)))


def _column(monday: date, one: Load) -> Bar:
    parts = ((FULL, one.weaving_min // 60), (LINED, one.setup_min // 60))
    return Bar(short_day(monday), parts, pct(num(one.load_pct, 0)) if one.open_min else _(CLOSED), one.open_min // 60)


def _by_loom(there: load.Ahead) -> list[Column]:
    def of_week(n: int, monday: date) -> Column:
        return Column(
            short_day(monday),
            lambda r: r[1][n].load_pct,
            unit="%",
            shown=lambda r: num(r[1][n].load_pct, 1) if r[1][n].open_min else _(CLOSED),
            is_number=True,
        )

    return [
        Column(gettext_lazy("Loom"), lambda r: r[0], link=lambda r: reverse("loom", args=[r[0]])),
        Column(
            gettext_lazy("All weeks"),
            lambda r: room_of.together(r[1]).load_pct,
            unit="%",
            shown=lambda r: num(room_of.together(r[1]).load_pct, 1),
            is_number=True,
        ),
        *(of_week(n, monday) for n, monday in enumerate(there.weeks)),
    ]


COLUMNS = [
    Column(
        gettext_lazy("Open"),
        lambda r: r[1].open_min,
        unit_in_csv="min",
        shown=lambda r: hours(r[1].open_min),
        is_number=True,
    ),
    Column(
        gettext_lazy("Weaving"),
        lambda r: r[1].weaving_min,
        unit_in_csv="min",
        shown=lambda r: hours(r[1].weaving_min),
        is_number=True,
    ),
    Column(
        gettext_lazy("Set-up"),
        lambda r: r[1].setup_min,
        unit_in_csv="min",
        shown=lambda r: hours(r[1].setup_min),
        is_number=True,
    ),
    Column(
        gettext_lazy("Free"),
        lambda r: r[1].free_min,
        unit_in_csv="min",
        shown=lambda r: hours(r[1].free_min),
        is_number=True,
    ),
    Column(
        gettext_lazy("Load"), lambda r: r[1].load_pct, unit="%", shown=lambda r: num(r[1].load_pct, 1), is_number=True
    ),
]


@require_GET
@room("looms")
def page(request: HttpRequest) -> HttpResponse:
    return show(request, name="load", title=_(TITLE), make=report, propose=propose)


urlpatterns = [path("reports/load/", page, name=NAME)]
