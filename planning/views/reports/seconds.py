"""Seconds by cause, drawn and as tables."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.listing import Column
from mill.templatetags.mill import day, num
from planning import seconds as room_of
from planning.graph import FULL, LINED, Bar, columns_svg, ranked_svg, small_svg
from planning.period import Period
from planning.services import seconds
from planning.views.reports.page import Figure, Missing, Picture, Report, Sheet, month_name, months_back, pct, show

NAME, TITLE = "report_seconds", "Seconds by cause"
propose = months_back(11)
# So many causes are drawn; the table has all of them.
DRAWN = 15


def report(period: Period, today: date) -> Report:
    rows = seconds.judged(period)
    whole, causes, months = room_of.share(rows), room_of.by_cause(rows), room_of.by_month(rows, period)
    found = [row for row in rows if row.is_second]
    return Report(
        title=TITLE,
        about="Metres that the final perch found seconds, put down to the fault with most points in each piece.",
        figures=[
            Figure("Seconds", pct(whole.seconds_pct), "of the metres"),
            Figure("First cause", causes[0].name if causes else "–"),
            Figure("Its share", pct(causes[0].share_pct) if causes else "–"),
            Figure("Pieces found seconds", num(whole.second_pieces)),
            Figure("Metres found seconds", num(whole.second_m, 1), "m"),
            Figure("Metres judged", num(whole.length_m, 1), "m"),
        ],
        small=small_svg([own.seconds_pct for _, own in months], title="Seconds, month by month"),
        pictures=[
            Picture(
                "Why pieces were seconds",
                ranked_svg(
                    [
                        Bar(
                            one.name,
                            ((LINED, one.length_m),),
                            f"{num(one.length_m, 0)} m, so far {pct(one.so_far_pct)}",
                        )
                        for one in causes[:DRAWN]
                    ],
                    name="causes",
                    title="Metres of seconds by cause, most first",
                    told="Each cause with its metres, and the share of all seconds that it and those above it make.",
                ),
                name="causes",
            ),
            Picture(
                "Month by month",
                columns_svg(
                    [
                        Bar(month_name(month), ((FULL, own.seconds_pct or 0),), pct(own.seconds_pct))
                        for month, own in months
                    ],
                    name="months",
                    title="Seconds in percent of the metres judged, month by month",
                    told=f"{pct(whole.seconds_pct)} in all. The table has each month.",
                    unit="%",
                ),
                name="months",
            ),
        ],
        sheets=[
            Sheet("causes", "By cause", CAUSES, causes, nothing="No piece was found a second."),
            Sheet(
                "months",
                "By month",
                [Column("Month", lambda r: r[0], shown=lambda r: f"{r[0]:%B %Y}"), *SHARES],
                months,
            ),
            Sheet("cloths", "By cloth", [Column("Cloth", lambda r: r[0]), *SHARES], room_of.by_cloth(rows)),
            Sheet("pieces", "The pieces found seconds, latest first", PIECES, found[::-1], is_folded=True),
        ],
        working=room_of.working(whole),
        notes=["Faults are read alike whether they are written large or small. Points as four-point grading has them."],
        missing=None
        if rows
        else Missing(
            "No piece was judged at the final perch in this period. A piece’s page takes its faults and the verdict.",
            reverse("pieces"),
            "See the pieces",
        ),
    )


CAUSES = [
    Column("Cause", lambda r: r.name),
    Column("Pieces", lambda r: r.pieces, is_number=True),
    Column("Metres", lambda r: r.length_m, unit="m", shown=lambda r: num(r.length_m, 1), is_number=True),
    Column("Share", lambda r: r.share_pct, unit="%", shown=lambda r: num(r.share_pct, 1), is_number=True),
    Column("So far", lambda r: r.so_far_pct, unit="%", shown=lambda r: num(r.so_far_pct, 1), is_number=True),
]
SHARES = [
    Column("Pieces judged", lambda r: r[1].pieces, is_number=True),
    Column("Metres judged", lambda r: r[1].length_m, unit="m", shown=lambda r: num(r[1].length_m, 1), is_number=True),
    Column("Seconds", lambda r: r[1].second_pieces, unit="pieces", is_number=True),
    Column("Seconds", lambda r: r[1].second_m, unit="m", shown=lambda r: num(r[1].second_m, 1), is_number=True),
    Column("Seconds", lambda r: r[1].seconds_pct, unit="%", shown=lambda r: num(r[1].seconds_pct, 1), is_number=True),
]
PIECES = [
    Column("Piece", lambda r: r.piece, link=lambda r: reverse("piece", args=[r.piece])),
    Column("Cloth", lambda r: r.cloth),
    Column("Finished", lambda r: r.finished_on, shown=lambda r: day(r.finished_on)),
    Column("Metres", lambda r: r.length_m, unit="m", shown=lambda r: num(r.length_m, 1), is_number=True),
    Column("Faults", lambda r: len(r.faults), is_number=True),
    Column("Cause", lambda r: r.cause),
]


@require_GET
@room("pieces")
def page(request: HttpRequest) -> HttpResponse:
    return show(request, name="seconds", title=TITLE, make=report, propose=propose)


urlpatterns = [path("reports/seconds/", page, name=NAME)]
