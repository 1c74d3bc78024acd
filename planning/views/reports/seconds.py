"""Seconds by cause, drawn and as tables."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.listing import Column
from mill.refusal import N_
from mill.templatetags.mill import day, num
from planning import seconds as room_of
from planning.graph import FULL, LINED, Bar, columns_svg, ranked_svg, small_svg
from planning.period import Period
from planning.services import seconds
from planning.views.reports.page import Figure, Missing, Picture, Report, Sheet, month_name, months_back, pct, show

NAME, TITLE = "report_seconds", N_("Seconds by cause")
propose = months_back(11)
# So many causes are drawn; the table has all of them.
DRAWN = 15


def report(period: Period, today: date) -> Report:
    rows = seconds.judged(period)
    whole, causes, months = room_of.share(rows), room_of.by_cause(rows), room_of.by_month(rows, period)
    found = [row for row in rows if row.is_second]
    return Report(
        title=_(TITLE),
        about=_("Metres that the final perch found seconds, put down to the fault with most points in each piece."),
        figures=[
            Figure(_("Seconds"), pct(whole.seconds_pct), _("of the metres")),
            Figure(_("First cause"), _cause(causes[0].name) if causes else "–"),
            Figure(_("Its share"), pct(causes[0].share_pct) if causes else "–"),
            Figure(_("Pieces found seconds"), num(whole.second_pieces)),
            Figure(_("Metres found seconds"), num(whole.second_m, 1), "m"),
            Figure(_("Metres judged"), num(whole.length_m, 1), "m"),
        ],
        small=small_svg([own.seconds_pct for _, own in months], title=_("Seconds, month by month")),
        pictures=[
            Picture(
                _("Why pieces were seconds"),
                ranked_svg(
                    [
                        Bar(
                            _cause(one.name),
                            ((LINED, one.length_m),),
                            _("%(m)s m, so far %(pct)s") % {"m": num(one.length_m, 0), "pct": pct(one.so_far_pct)},
                        )
                        for one in causes[:DRAWN]
                    ],
                    name="causes",
                    title=_("Metres of seconds by cause, most first"),
                    told=_("Each cause with its metres, and the share of all seconds that it and those above it make."),
                ),
                name="causes",
            ),
            Picture(
                _("Month by month"),
                columns_svg(
                    [
                        Bar(month_name(month), ((FULL, own.seconds_pct or 0),), pct(own.seconds_pct))
                        for month, own in months
                    ],
                    name="months",
                    title=_("Seconds in percent of the metres judged, month by month"),
                    told=_("%(pct)s in all. The table has each month.") % {"pct": pct(whole.seconds_pct)},
                    unit="%",
                ),
                name="months",
            ),
        ],
        sheets=[
            Sheet("causes", _("By cause"), CAUSES, causes, nothing=_("No piece was found a second.")),
            Sheet(
                "months",
                _("By month"),
                [Column(gettext_lazy("Month"), lambda r: r[0], shown=lambda r: date_format(r[0], "F Y")), *SHARES],
                months,
            ),
            Sheet(
                "cloths",
                _("By cloth"),
                [Column(gettext_lazy("Cloth"), lambda r: r[0]), *SHARES],
                room_of.by_cloth(rows),
            ),
            Sheet("pieces", _("The pieces found seconds, latest first"), PIECES, found[::-1], is_folded=True),
        ],
        working=room_of.working(whole),
        notes=[
            _("Faults are read alike whether they are written large or small. Points as four-point grading has them.")
        ],
        missing=None
        if rows
        else Missing(
            _(
                "No piece was judged at the final perch in this period. A piece’s page takes its faults and the"
                " verdict."
            ),
            reverse("pieces"),
            _("See the pieces"),
        ),
    )


def _cause(name: str) -> str:
    """A cause as the percher wrote it; where nothing was written, ours."""
    return _(name) if name == room_of.NOT_WRITTEN else name


CAUSES = [
    Column(gettext_lazy("Cause"), lambda r: r.name, shown=lambda r: _cause(r.name)),
    Column(gettext_lazy("Pieces"), lambda r: r.pieces, is_number=True),
    Column(gettext_lazy("Metres"), lambda r: r.length_m, unit="m", shown=lambda r: num(r.length_m, 1), is_number=True),
    Column(gettext_lazy("Share"), lambda r: r.share_pct, unit="%", shown=lambda r: num(r.share_pct, 1), is_number=True),
    Column(
        gettext_lazy("So far"), lambda r: r.so_far_pct, unit="%", shown=lambda r: num(r.so_far_pct, 1), is_number=True
    ),
]
SHARES = [
    Column(gettext_lazy("Pieces judged"), lambda r: r[1].pieces, is_number=True),
    Column(
        gettext_lazy("Metres judged"),
        lambda r: r[1].length_m,
        unit="m",
        shown=lambda r: num(r[1].length_m, 1),
        is_number=True,
    ),
    Column(gettext_lazy("Seconds"), lambda r: r[1].second_pieces, unit=gettext_lazy("pieces"), is_number=True),
    Column(
        gettext_lazy("Seconds"),
        lambda r: r[1].second_m,
        unit="m",
        shown=lambda r: num(r[1].second_m, 1),
        is_number=True,
    ),
    Column(
        gettext_lazy("Seconds"),
        lambda r: r[1].seconds_pct,
        unit="%",
        shown=lambda r: num(r[1].seconds_pct, 1),
        is_number=True,
    ),
]
PIECES = [
    Column(gettext_lazy("Piece"), lambda r: r.piece, link=lambda r: reverse("piece", args=[r.piece])),
    Column(gettext_lazy("Cloth"), lambda r: r.cloth),
    Column(gettext_lazy("Finished"), lambda r: r.finished_on, shown=lambda r: day(r.finished_on)),
    Column(gettext_lazy("Metres"), lambda r: r.length_m, unit="m", shown=lambda r: num(r.length_m, 1), is_number=True),
    Column(gettext_lazy("Faults"), lambda r: len(r.faults), is_number=True),
    Column(gettext_lazy("Cause"), lambda r: r.cause, shown=lambda r: _cause(r.cause)),
]


@require_GET
@room("pieces")
def page(request: HttpRequest) -> HttpResponse:
    return show(request, name="seconds", title=_(TITLE), make=report, propose=propose)


urlpatterns = [path("reports/seconds/", page, name=NAME)]
