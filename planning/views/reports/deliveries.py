"""Deliveries on time, drawn and as tables."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.listing import Column
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

NAME, TITLE = "report_deliveries", "Deliveries on time"
propose = weeks_back(13)


def report(period: Period, today: date) -> Report:
    rows = punctuality.sent_lines(period)
    whole, weeks = room_of.punctuality(rows), room_of.by_week(rows, period)
    overdue, untold = punctuality.overdue(today), punctuality.not_told(period)
    told = (
        f"{whole.on_time} of {whole.lines} lines left by their due day, {whole.late} later. Week by week in the table."
    )
    return Report(
        title=TITLE,
        about="Order lines by the week in which the last of each left; on time when that was by its due day.",
        figures=[
            Figure("On time", pct(whole.on_time_pct)),
            Figure("Lines sent whole", num(whole.lines)),
            Figure("Late", num(whole.late)),
            Figure("In the middle", days(whole.median_days)),
            Figure("The latest", days(whole.worst_days)),
            Figure("Sent short of the tolerance", num(whole.short)),
            Figure("Overdue and not sent yet, today", num(overdue["lines"])),
        ],
        small=small_svg([week.on_time_pct for _, week in weeks], title="Lines on time, week by week"),
        pictures=[
            Picture(
                "Lines sent, week by week",
                columns_svg(
                    [
                        Bar(short_day(monday), ((FULL, week.on_time), (LINED, week.late)), pct(week.on_time_pct))
                        for monday, week in weeks
                    ],
                    name="deliveries",
                    title="Lines sent, week by week",
                    told=told,
                    unit="lines",
                ),
                [(FULL, "on time"), (LINED, "late")],
                name="deliveries",
            )
        ],
        sheets=[
            Sheet("weeks", "By week", [Column("Week from", lambda r: r[0], shown=lambda r: day(r[0])), *COUNTS], weeks),
            Sheet("customers", "By customer", [Column("Customer", lambda r: r[0]), *COUNTS], room_of.by_customer(rows)),
            Sheet("how-late", "How early or late", BANDS, room_of.by_band(rows) if rows else []),
            Sheet("lines", "The lines, latest sent first", LINES, rows[::-1], is_folded=True),
        ],
        working=room_of.working(whole),
        notes=[
            "A line counts once, when the last of it has left, by the dispatch notes that were not taken back.",
            *said_if(untold, f"{num(untold)} sent lines that were due in this period have no dispatch note: left out."),
        ],
        missing=None
        if rows
        else Missing(
            "No line was sent whole in this period. Lines count from the day on which a dispatch note takes their last"
            " piece.",
            reverse("dispatches"),
            "See the dispatch notes",
        ),
    )


def days(late: object) -> str:
    """How a number of days late is said: 3 days late, on the day, 2 days early."""
    if late is None:
        return "–"
    number = abs(float(str(late)))
    if not number:
        return "on the day"
    return f"{number:g} day{'' if number == 1 else 's'} {'late' if float(str(late)) > 0 else 'early'}"


COUNTS = [
    Column("Lines", lambda r: r[1].lines, is_number=True),
    Column("On time", lambda r: r[1].on_time, is_number=True),
    Column("Late", lambda r: r[1].late, is_number=True),
    Column(
        "Share on time", lambda r: r[1].on_time_pct, unit="%", shown=lambda r: num(r[1].on_time_pct, 1), is_number=True
    ),
    Column("In the middle", lambda r: r[1].median_days, unit="days late", shown=lambda r: days(r[1].median_days)),
    Column("The latest", lambda r: r[1].worst_days, unit="days late", shown=lambda r: days(r[1].worst_days)),
    Column("Short", lambda r: r[1].short, is_number=True),
]
BANDS = [
    Column("Sent", lambda r: r[0]),
    Column("Lines", lambda r: r[1], is_number=True),
    Column("Share", lambda r: r[2], unit="%", shown=lambda r: num(r[2], 1), is_number=True),
]


def _line(row: room_of.SentLine) -> str:
    number, position = row.line.rsplit("/", 1)
    return f"{reverse('order', args=[number])}#line-{position}"


LINES = [
    Column("Line", lambda r: r.line, link=_line),
    Column("Customer", lambda r: r.customer),
    Column("Due", lambda r: r.due_on, shown=lambda r: day(r.due_on)),
    Column("The last left", lambda r: r.sent_on, shown=lambda r: day(r.sent_on)),
    Column("Late", lambda r: r.days_late, unit="days", shown=lambda r: days(r.days_late)),
    Column("Ordered", lambda r: r.ordered_m, unit="m", shown=lambda r: num(r.ordered_m), is_number=True),
    Column("Sent", lambda r: r.sent_m, unit="m", shown=lambda r: num(r.sent_m), is_number=True),
    Column("Short", lambda r: "short" if r.is_short else ""),
]


@require_GET
@room("orders")
def page(request: HttpRequest) -> HttpResponse:
    return show(request, name="deliveries", title=TITLE, make=report, propose=propose)


urlpatterns = [path("reports/deliveries/", page, name=NAME)]
