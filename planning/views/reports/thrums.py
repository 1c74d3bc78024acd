"""Thrums and waste against what was planned, drawn and as tables."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET

from mill.desk import room
from mill.listing import Column
from mill.refusal import N_
from mill.templatetags.mill import day, kg, num
from planning import thrums as room_of
from planning import weft_waste as weft_room
from planning.graph import FULL, Bar, columns_svg, ranked_svg, small_svg
from planning.period import Period
from planning.services import thrums, weft_waste
from planning.views.reports.page import (
    Figure,
    Missing,
    Picture,
    Report,
    Sheet,
    month_name,
    months_back,
    pct,
    said_if,
    show,
)

NAME, TITLE = "report_thrums", N_("Thrums and waste")
propose = months_back(11)
# So many warps are drawn; the table has all of them.
DRAWN = 15
KEY = N_("thrums and waste; the dashed line: planned")


def report(period: Period, today: date) -> Report:
    found = thrums.woven_out(period)
    weft = weft_waste.used(period)
    whole_weft = weft_room.waste(weft.rows)
    whole, months, warps = (
        room_of.waste(found.rows),
        room_of.by_month(found.rows, period),
        room_of.by_warp(found.rows),
    )
    return Report(
        title=_(TITLE),
        about=_(
            "Warp yarn that was drawn and did not come back, less what is in the pieces, by the month in which a warp"
            " was woven out; beside it what its figures planned for thrums, headers and winding."
        ),
        figures=[
            Figure(_("Thrums and waste"), pct(whole.waste_pct), _("of the yarn drawn")),
            Figure(_("Planned"), pct(whole.planned_pct)),
            Figure(
                _("More than planned") if whole.over_g >= 0 else _("Less than planned"), kg(abs(whole.over_g)), "kg"
            ),
            Figure(_("Thrums and waste"), kg(whole.waste_g), "kg"),
            Figure(_("Warp yarn drawn"), kg(whole.drawn_g), "kg"),
            Figure(_("Warps woven out"), num(whole.warps)),
            Figure(_("Weft waste"), pct(whole_weft.waste_pct), _("of the weft used")),
            Figure(_("Planned, weft"), pct(whole_weft.planned_pct)),
            Figure(_("Weft waste"), kg(whole_weft.waste_g), "kg"),
        ],
        small=small_svg([own.waste_pct for _, own in months], title=_("Thrums and waste, month by month")),
        pictures=[
            Picture(
                _("Month by month"),
                columns_svg(
                    [
                        Bar(month_name(month), ((FULL, own.waste_pct or 0),), pct(own.waste_pct), own.planned_pct)
                        for month, own in months
                    ],
                    name="months",
                    title=_("Thrums and waste in percent of the warp yarn drawn, month by month"),
                    told=_("%(pct)s in all, %(planned)s planned. The table has each month.")
                    % {"pct": pct(whole.waste_pct), "planned": pct(whole.planned_pct)},
                    unit="%",
                ),
                [(FULL, _(KEY))],
                name="months",
            ),
            Picture(
                _("Warps with the most beyond the plan"),
                ranked_svg(
                    [
                        Bar(
                            _("Warp %(number)s, %(cloth)s") % {"number": row.warp, "cloth": row.cloth},
                            ((FULL, max(0, own.waste_g)),),
                            f"{kg(own.waste_g)} kg, {_over(own.over_g)}",
                            own.planned_waste_g,
                        )
                        for row, own in warps[:DRAWN]
                    ],
                    name="warps",
                    title=_("Thrums and waste by warp, those with the most beyond the plan first"),
                    told=_("Each warp's kilograms beside those planned. The table has all of them."),
                ),
                [(FULL, _(KEY))],
                name="warps",
            ),
        ],
        sheets=[
            Sheet(
                "months",
                _("By month"),
                [
                    Column(gettext_lazy("Month"), lambda r: r[0], shown=lambda r: date_format(r[0], "F Y")),
                    WARPS,
                    *COLUMNS,
                ],
                months,
            ),
            Sheet(
                "cloths",
                _("By cloth"),
                [Column(gettext_lazy("Cloth"), lambda r: r[0]), WARPS, *COLUMNS],
                room_of.by_cloth(found.rows),
            ),
            Sheet("warps", _("By warp, the most beyond the plan first"), [*OF_WARP, *COLUMNS], warps, is_folded=True),
            Sheet(
                "weft-months",
                _("Weft by month"),
                [
                    Column(gettext_lazy("Month"), lambda r: r[0], shown=lambda r: date_format(r[0], "F Y")),
                    *WEFT_COLUMNS,
                ],
                weft_room.by_month(weft.rows, period),
            ),
            Sheet(
                "weft-yarns",
                _("Weft by yarn, the most beyond the plan first"),
                [Column(gettext_lazy("Yarn"), lambda r: r[0]), *WEFT_COLUMNS],
                weft_room.by_yarn(weft.rows),
            ),
            Sheet(
                "weft-lots",
                _("Weft by lot and warp, the most beyond the plan first"),
                [*OF_LOT, *WEFT_COLUMNS],
                weft_room.by_lot(weft.rows),
                is_folded=True,
            ),
        ],
        working=(*room_of.working(whole), *weft_room.working(whole_weft)),
        notes=[
            _(
                "A warp that was cut off before its end, or of which a piece was never written down, shows here as"
                " waste."
            ),
            *said_if(
                found.left_out,
                ngettext(
                    "Left out, for the book has no draw or no piece of it: warp %(warps)s.",
                    "Left out, for the book has no draw or no piece of them: warps %(warps)s.",
                    len(found.left_out),
                )
                % {"warps": ", ".join(map(str, found.left_out))},
            ),
            *said_if(
                weft.left_out,
                ngettext(
                    "Left out of the weft, for the book has no draw of weft or no piece of it: warp %(warps)s.",
                    "Left out of the weft, for the book has no draw of weft or no piece of them: warps %(warps)s.",
                    len(weft.left_out),
                )
                % {"warps": ", ".join(map(str, weft.left_out))},
            ),
        ],
        missing=None
        if found.rows
        else Missing(
            _("No warp was woven out in this period that yarn was drawn for and pieces were taken off."),
            reverse("warps"),
            _("See the warps"),
        ),
    )


def _over(grams: int) -> str:
    said = {"kg": kg(abs(grams), 2)}
    return _("%(kg)s over the plan") % said if grams >= 0 else _("%(kg)s under the plan") % said


WARPS = Column(gettext_lazy("Warps"), lambda r: r[1].warps, is_number=True)
OF_WARP = [
    Column(gettext_lazy("Warp"), lambda r: r[0].warp, link=lambda r: reverse("warp", args=[r[0].warp])),
    Column(gettext_lazy("Cloth"), lambda r: r[0].cloth),
    Column(gettext_lazy("Woven out"), lambda r: r[0].out_on, shown=lambda r: day(r[0].out_on)),
]
COLUMNS = [
    Column(gettext_lazy("Drawn"), lambda r: r[1].drawn_g, unit="g", shown=lambda r: num(r[1].drawn_g), is_number=True),
    Column(
        gettext_lazy("In the cloth"),
        lambda r: r[1].in_cloth_g,
        unit="g",
        shown=lambda r: num(r[1].in_cloth_g),
        is_number=True,
    ),
    Column(
        gettext_lazy("Thrums and waste"),
        lambda r: r[1].waste_g,
        unit="g",
        shown=lambda r: num(r[1].waste_g),
        is_number=True,
    ),
    Column(
        gettext_lazy("Share"),
        lambda r: r[1].waste_pct,
        unit="%",
        shown=lambda r: num(r[1].waste_pct, 1),
        is_number=True,
    ),
    Column(
        gettext_lazy("Planned"),
        lambda r: r[1].planned_waste_g,
        unit="g",
        shown=lambda r: num(r[1].planned_waste_g),
        is_number=True,
    ),
    Column(
        gettext_lazy("Planned share"),
        lambda r: r[1].planned_pct,
        unit="%",
        shown=lambda r: num(r[1].planned_pct, 1),
        is_number=True,
    ),
    Column(
        gettext_lazy("Beyond the plan"),
        lambda r: r[1].over_g,
        unit="g",
        shown=lambda r: num(r[1].over_g),
        is_number=True,
    ),
]


OF_LOT = [
    Column(gettext_lazy("Lot"), lambda r: r[0].lot, link=lambda r: reverse("lot", args=[r[0].lot])),
    Column(gettext_lazy("Yarn"), lambda r: r[0].yarn),
    *OF_WARP,
]
WEFT_COLUMNS = [
    Column(gettext_lazy("Drawn"), lambda r: r[1].drawn_g, unit="g", shown=lambda r: num(r[1].drawn_g), is_number=True),
    Column(
        gettext_lazy("Came back"), lambda r: r[1].back_g, unit="g", shown=lambda r: num(r[1].back_g), is_number=True
    ),
    Column(
        gettext_lazy("In the cloth"),
        lambda r: r[1].woven_g,
        unit="g",
        shown=lambda r: num(r[1].woven_g),
        is_number=True,
    ),
    Column(gettext_lazy("Waste"), lambda r: r[1].waste_g, unit="g", shown=lambda r: num(r[1].waste_g), is_number=True),
    *COLUMNS[3:],
]


@require_GET
@room("warps")
def page(request: HttpRequest) -> HttpResponse:
    return show(request, name="thrums", title=_(TITLE), make=report, propose=propose)


urlpatterns = [path("reports/thrums/", page, name=NAME)]
