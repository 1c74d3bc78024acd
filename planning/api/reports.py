from collections.abc import Callable, Iterable
from dataclasses import asdict
from datetime import date
from typing import Any

from django.urls import path
from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory import services as store
from inventory import turnover as turnover_room
from mill.refusal import Refusal
from planning import load as load_room
from planning import punctuality as punctuality_room
from planning import running as running_room
from planning import seconds as seconds_room
from planning import thrums as thrums_room
from planning import weft_waste as weft_room
from planning.forms.reports import PeriodForm
from planning.period import Period
from planning.serializers import reports as said
from planning.services import load, punctuality, running, seconds, thrums, weft_waste
from planning.views.reports import deliveries, efficiency
from planning.views.reports import load as load_page
from planning.views.reports import seconds as seconds_page
from planning.views.reports import thrums as thrums_page
from planning.views.reports import turnover as turnover_page
from planning.views.reports.page import Propose

PERIOD = [
    OpenApiParameter("from_day", date, description="The first day; as the report proposes when nothing is said."),
    OpenApiParameter("to_day", date, description="The last day; as the report proposes when nothing is said."),
]


def period_of(request: Request, propose: Propose) -> Period:
    """The period that is asked for. Raises Refusal, with the field, for one that can't be."""
    form = PeriodForm(request.query_params, proposed=propose(timezone.localdate()))
    if not form.is_valid():
        field, errors = next(iter(form.errors.items()))
        raise Refusal(" ".join(str(error) for error in errors), field=field)
    period: Period = form.cleaned_data["period"]
    return period


def of(period: Period, **parts: Any) -> dict[str, Any]:
    return {"from_day": period.first, "to_day": period.last, **parts}


class DeliveriesView(APIView):
    """Order lines sent whole within a period, on time or late: together, by week, by customer, and each of them."""

    @extend_schema(parameters=PERIOD, responses={200: said.DeliveriesReportSerializer})
    def get(self, request: Request) -> Response:
        period = period_of(request, deliveries.propose)
        rows = punctuality.sent_lines(period)
        weeks = [{"week": monday, **asdict(week)} for monday, week in punctuality_room.by_week(rows, period)]
        customers = [{"customer": name, **asdict(own)} for name, own in punctuality_room.by_customer(rows)]
        report = of(period, all=punctuality_room.punctuality(rows), weeks=weeks, customers=customers, lines=rows)
        return Response(said.DeliveriesReportSerializer(report).data)


class LoadView(APIView):
    """What the plan in force takes of each loom's hours, week by week, from now on; and each warp's share in it."""

    @extend_schema(parameters=PERIOD, responses={200: said.LoadReportSerializer})
    def get(self, request: Request) -> Response:
        period = period_of(request, load_page.propose)
        there = load.ahead(period)
        looms = [
            {
                "loom": code,
                "weeks": [_load(one, week=monday) for monday, one in zip(there.weeks, own, strict=True)],
            }
            for code, own in there.looms.items()
        ]
        warps = [{"warp": number, **asdict(load_room.together(own))} for number, own in there.warps.items()]
        whole = load_room.together(load_room.week_by_week(there.looms, len(there.weeks)))
        plan = there.run.pk if there.run else None
        report = of(period, plan=plan, all=whole, looms=looms, warps=warps)
        return Response(said.LoadReportSerializer(report).data)


def _load(one: load_room.Load, **also: Any) -> dict[str, Any]:
    return {**asdict(one), "free_min": one.free_min, "load_pct": one.load_pct, **also}


class EfficiencyView(APIView):
    """How looms ran, by what the floor told: together, by loom, by week, by shift, and each loom week by week."""

    @extend_schema(parameters=PERIOD, responses={200: said.EfficiencyReportSerializer})
    def get(self, request: Request) -> Response:
        period = period_of(request, efficiency.propose)
        parts = running.parts(period)
        rows = [
            {"by": by, "loom": None, "week": None, "shift": None, **of_row(key), "running": _running(own)}
            for by, key_of, of_row in GROUPS
            for key, own in running_room.grouped(parts, key_of, waits=running.WAITS).items()
        ]
        whole = _running(running_room.running(parts, waits=running.WAITS))
        return Response(said.EfficiencyReportSerializer(of(period, all=whole, rows=rows)).data)


GROUPS: list[tuple[str, Callable[[running_room.Part], Any], Callable[[Any], dict[str, Any]]]] = [
    ("loom", lambda part: part.loom, lambda key: {"loom": key}),
    ("week", lambda part: part.week, lambda key: {"week": key}),
    ("shift", lambda part: part.shift, lambda key: {"shift": key}),
    ("loom and week", lambda part: (part.loom, part.week), lambda key: {"loom": key[0], "week": key[1]}),
]


def _running(own: running_room.Running) -> dict[str, Any]:
    def rows(reasons: Iterable[tuple[str, int]]) -> list[dict[str, Any]]:
        return [{"reason": reason, "minutes": minutes} for reason, minutes in reasons]

    names = ("efficiency_pct", "minutes", "running_min", "told_min", "untold_min", "waited_min", "over_min")
    figures = {name: getattr(own, name) for name in names}
    return {**figures, "tally": own.tally, "stops": rows(own.told), "waits": rows(own.waits)}


class SecondsView(APIView):
    """Pieces found seconds at the final perch within a period, by cause, month and cloth, and each of them."""

    @extend_schema(parameters=PERIOD, responses={200: said.SecondsReportSerializer})
    def get(self, request: Request) -> Response:
        period = period_of(request, seconds_page.propose)
        rows = seconds.judged(period)
        report = of(
            period,
            all=seconds_room.share(rows),
            causes=seconds_room.by_cause(rows),
            months=[{"month": month, **asdict(own)} for month, own in seconds_room.by_month(rows, period)],
            cloths=[{"cloth": name, **asdict(own)} for name, own in seconds_room.by_cloth(rows)],
            pieces=[row for row in rows if row.is_second],
        )
        return Response(said.SecondsReportSerializer(report).data)


class ThrumsView(APIView):
    """Warp yarn that never became cloth, of warps woven out within a period, by month, cloth and warp; and their weft.

    Of the weft by month, yarn and lot: drawn, came back, in the cloth, and waste.
    """

    @extend_schema(parameters=PERIOD, responses={200: said.ThrumsReportSerializer})
    def get(self, request: Request) -> Response:
        period = period_of(request, thrums_page.propose)
        found = thrums.woven_out(period)
        report = of(
            period,
            all=thrums_room.waste(found.rows),
            months=[{"month": month, "waste": own} for month, own in thrums_room.by_month(found.rows, period)],
            cloths=[{"cloth": name, "waste": own} for name, own in thrums_room.by_cloth(found.rows)],
            warps=[
                {"warp": row.warp, "cloth": row.cloth, "out_on": row.out_on, "waste": own}
                for row, own in thrums_room.by_warp(found.rows)
            ],
            left_out=found.left_out,
            weft=_weft(period),
        )
        return Response(said.ThrumsReportSerializer(report).data)


def _weft(period: Period) -> dict[str, Any]:
    found = weft_waste.used(period)
    return {
        "all": weft_room.waste(found.rows),
        "months": [{"month": month, "waste": own} for month, own in weft_room.by_month(found.rows, period)],
        "yarns": [{"yarn": name, "waste": own} for name, own in weft_room.by_yarn(found.rows)],
        "lots": [
            {name: getattr(row, name) for name in ("lot", "yarn", "warp", "cloth", "out_on")} | {"waste": own}
            for row, own in weft_room.by_lot(found.rows)
        ],
        "left_out": found.left_out,
    }


class TurnoverView(APIView):
    """How often each yarn's stock is used up in a year, and how long it lasts, by the ledger of a period."""

    @extend_schema(parameters=PERIOD, responses={200: said.TurnoverReportSerializer})
    def get(self, request: Request) -> Response:
        period = period_of(request, turnover_page.propose)
        found = store.turnovers(period.first, period.last)
        days = (found.last - found.first).days + 1
        report = {
            "from_day": found.first,
            "to_day": found.last,
            "all": _turnover(turnover_room.together((row.turnover for row in found.rows), days=days)),
            "yarns": [{"yarn": row.code, "name": row.name, **_turnover(row.turnover)} for row in found.rows],
        }
        return Response(said.TurnoverReportSerializer(report).data)


def _turnover(one: turnover_room.Turnover) -> dict[str, Any]:
    figures = {name: getattr(one, name) for name in ("days", "drawn_g", "on_hand_g", "turns", "supply_days")}
    return {**figures, "mean_g": round(one.mean_g)}


urlpatterns = [
    path("reports/turnover/", TurnoverView.as_view(), name="api_report_turnover"),
    path("reports/thrums/", ThrumsView.as_view(), name="api_report_thrums"),
    path("reports/seconds/", SecondsView.as_view(), name="api_report_seconds"),
    path("reports/efficiency/", EfficiencyView.as_view(), name="api_report_efficiency"),
    path("reports/deliveries/", DeliveriesView.as_view(), name="api_report_deliveries"),
    path("reports/load/", LoadView.as_view(), name="api_report_load"),
]
