"""Deliveries on time, drawn and as tables."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, pgettext, pgettext_lazy
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.listing import Column
from mill.refusal import N_
from mill.templatetags.mill import day, num
from planning import punctuality as room_of
from planning.graph import FULL, LINED, Bar, columns_svg, small_svg
from planning.period import Period
from planning.services import punctuality
from planning.views.reports.page import (
    Figure,
    Missing,
    Picture,
    Report,
    Sheet,
    pct,
    said_if,
    short_day,
    show,
    weeks_back,
)

NAME, TITLE = "report_deliveries", N_("Deliveries on time")
propose = weeks_back(13)


def report(period: Period, today: date) -> Report:
    rows = punctuality.sent_lines(period)
    whole, weeks = room_of.punctuality(rows), room_of.by_week(rows, period)
    overdue, untold = punctuality.overdue(today), punctuality.not_told(period)
    counts = {"on_time": whole.on_time, "lines": whole.lines, "late": whole.late}
    told = (
        _("%(on_time)s of %(lines)s lines left by their due day, %(late)s later. Week by week in the table.") % counts
    )
    return Report(
        title=_(TITLE),
        about=_("Order lines by the week in which the last of each left; on time when that was by its due day."),
        figures=[
            Figure(pgettext("sent lines", "On time"), pct(whole.on_time_pct)),
            Figure(_("Lines sent whole"), num(whole.lines)),
            Figure(_("Late"), num(whole.late)),
            Figure(_("In the middle"), days(whole.median_days)),
            Figure(_("The latest"), days(whole.worst_days)),
            Figure(_("Sent short of the tolerance"), num(whole.short)),
            Figure(_("Overdue and not sent yet, today"), num(overdue["lines"])),
        ],
        small=small_svg([week.on_time_pct for _, week in weeks], title=_("Lines on time, week by week")),
        pictures=[
            Picture(
                _("Lines sent, week by week"),
                columns_svg(
                    [
                        Bar(short_day(monday), ((FULL, week.on_time), (LINED, week.late)), pct(week.on_time_pct))
                        for monday, week in weeks
                    ],
                    name="deliveries",
                    title=_("Lines sent, week by week"),
                    told=told,
                    unit=_("lines"),
                ),
                [(FULL, _("on time")), (LINED, _("late"))],
                name="deliveries",
            )
        ],
        sheets=[
            Sheet(
                "weeks",
                _("By week"),
                [Column(gettext_lazy("Week from"), lambda r: r[0], shown=lambda r: day(r[0])), *COUNTS],
                weeks,
            ),
            Sheet(
                "customers",
                _("By customer"),
                [Column(gettext_lazy("Customer"), lambda r: r[0]), *COUNTS],
                room_of.by_customer(rows),
            ),
            Sheet("how-late", _("How early or late"), BANDS, room_of.by_band(rows) if rows else []),
            Sheet("lines", _("The lines, latest sent first"), LINES, rows[::-1], is_folded=True),
        ],
        working=room_of.working(whole),
        notes=[
            _("A line counts once, when the last of it has left, by the dispatch notes that were not taken back."),
            *said_if(
                untold,
                ngettext(
                    "%(n)s sent line that was due in this period has no dispatch note: left out.",
                    "%(n)s sent lines that were due in this period have no dispatch note: left out.",
                    untold,
                )
                % {"n": num(untold)},
            ),
        ],
        missing=None
        if rows
        else Missing(
            _(
                "No line was sent whole in this period. Lines count from the day on which a dispatch note takes their"
                " last piece."
            ),
            reverse("dispatches"),
            _("See the dispatch notes"),
        ),
    )


def days(late: object) -> str:
    """How a number of days late is said: 3 days late, on the day, 2 days early."""
    if late is None:
        return "–"
    number = abs(float(str(late)))
    if not number:
        return _("on the day")
    n = 1 if number == 1 else 2
    if float(str(late)) > 0:
        return ngettext("%(n)s day late", "%(n)s days late", n) % {"n": num(number)}
    return ngettext("%(n)s day early", "%(n)s days early", n) % {"n": num(number)}


COUNTS = [
    Column(gettext_lazy("Lines"), lambda r: r[1].lines, is_number=True),
    Column(pgettext_lazy("sent lines", "On time"), lambda r: r[1].on_time, is_number=True),
    Column(gettext_lazy("Late"), lambda r: r[1].late, is_number=True),
    Column(
        gettext_lazy("Share on time"),
        lambda r: r[1].on_time_pct,
        unit="%",
        shown=lambda r: num(r[1].on_time_pct, 1),
        is_number=True,
    ),
    Column(
        gettext_lazy("In the middle"),
        lambda r: r[1].median_days,
        unit_in_csv=gettext_lazy("days late"),
        shown=lambda r: days(r[1].median_days),
    ),
    Column(
        gettext_lazy("The latest"),
        lambda r: r[1].worst_days,
        unit_in_csv=gettext_lazy("days late"),
        shown=lambda r: days(r[1].worst_days),
    ),
    Column(pgettext_lazy("sent lines", "Short"), lambda r: r[1].short, is_number=True),
]
BANDS = [
    Column(gettext_lazy("Sent"), lambda r: r[0], shown=lambda r: _(r[0])),
    Column(gettext_lazy("Lines"), lambda r: r[1], is_number=True),
    Column(gettext_lazy("Share"), lambda r: r[2], unit="%", shown=lambda r: num(r[2], 1), is_number=True),
]


def _line(row: room_of.SentLine) -> str:
    number, position = row.line.rsplit("/", 1)
    return f"{reverse('order', args=[number])}#line-{position}"


LINES = [
    Column(gettext_lazy("Line"), lambda r: r.line, link=_line),
    Column(gettext_lazy("Customer"), lambda r: r.customer),
    Column(gettext_lazy("Due"), lambda r: r.due_on, shown=lambda r: day(r.due_on)),
    Column(gettext_lazy("The last left"), lambda r: r.sent_on, shown=lambda r: day(r.sent_on)),
    Column(
        gettext_lazy("Late"), lambda r: r.days_late, unit_in_csv=gettext_lazy("days"), shown=lambda r: days(r.days_late)
    ),
    Column(gettext_lazy("Ordered"), lambda r: r.ordered_m, unit="m", shown=lambda r: num(r.ordered_m), is_number=True),
    Column(gettext_lazy("Sent"), lambda r: r.sent_m, unit="m", shown=lambda r: num(r.sent_m), is_number=True),
    Column(
        pgettext_lazy("sent lines", "Short"),
        lambda r: "short" if r.is_short else "",
        shown=lambda r: _("short") if r.is_short else "",
    ),
]


@require_GET
@room("orders")
def page(request: HttpRequest) -> HttpResponse:
    return show(request, name="deliveries", title=_(TITLE), make=report, propose=propose)


urlpatterns = [path("reports/deliveries/", page, name=NAME)]
