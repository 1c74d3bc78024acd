"""The reckoner's sums of the loom: hours and efficiencies. Knows no loom of the mill's."""

from decimal import Decimal

from mill.refusal import N_
from mill.working import W_
from planning import loom
from planning.reckoner.common import (
    GREY_LENGTH,
    PICKS,
    PPM,
    lay_picks,
    pct_input,
)
from planning.reckoner.sheet import Input, Sheet, enter, num, rounded


@enter(
    "loom-hours",
    N_("Loom-hours"),
    N_("Loom"),
    N_(
        "How long a length of cloth weaves. The efficiency is the running one: waits, tying-in and gaiting stand apart."
    ),
    GREY_LENGTH,
    PICKS,
    PPM,
    pct_input(
        "efficiency_pct",
        N_("Running efficiency"),
        "70",
        N_("Stops while weaving; 55 to 85 %, from memory."),
        least=None,
        above=0,
        below=None,
        most=100,
    ),
)
def _loom_hours(
    sheet: Sheet, *, grey_length_m: Decimal, picks_per_cm: Decimal, ppm: int, efficiency_pct: Decimal
) -> None:
    picks = lay_picks(sheet, grey_length_m, picks_per_cm)
    minutes = sheet.ask(
        "weaving_min",
        loom.weaving_min(picks=picks, ppm=ppm, efficiency_pct=efficiency_pct),
        f"{picks} ÷ ({ppm} × {num(efficiency_pct)} %)",
    )
    sheet.ask("loom_hours", loom.loom_hours(minutes), f"{minutes} ÷ 60")
    sheet.ask(
        "woven_m_per_h",
        loom.woven_m(ppm=ppm, minutes=Decimal(60), loom_picks_per_cm=picks_per_cm, efficiency_pct=efficiency_pct),
        f"{ppm} × 60 × {num(efficiency_pct)} % ÷ ({num(picks_per_cm)} × 100)",
    )


def _stops(name: str, label: str, one: str, stops: str, each: str, help: str) -> tuple[Input, Input]:
    return (
        Input(f"{name}_stops", label, "number", "number", stops, "", least=0, most=100_000),
        Input(f"{name}_stop_min", one, "number", "min", each, help, least=0, most=10_000),
    )


@enter(
    "efficiency",
    N_("Efficiency from stops"),
    N_("Loom"),
    N_(
        "What stops leave of the running time, and what several looms to one weaver leave of that, when a stopped loom"
        " waits for a busy weaver."
    ),
    PPM,
    *_stops("warp", N_("Warp stops in 100 000 picks"), N_("Warp stop"), "15", "2.9", N_("Minutes each: Haque 2019.")),
    *_stops("weft", N_("Weft stops in 100 000 picks"), N_("Weft stop"), "10", "0.5", N_("Minutes each.")),
    *_stops("other", N_("Other stops in 100 000 picks"), N_("Other stop"), "0", "0", N_("Minutes each.")),
    Input("looms", N_("Looms to a weaver"), "whole", "looms", "4", least=1, most=60),
)
def _efficiency(
    sheet: Sheet,
    *,
    ppm: int,
    warp_stops: Decimal,
    warp_stop_min: Decimal,
    weft_stops: Decimal,
    weft_stop_min: Decimal,
    other_stops: Decimal,
    other_stop_min: Decimal,
    looms: int,
) -> None:
    stops = [(warp_stops, warp_stop_min), (weft_stops, weft_stop_min), (other_stops, other_stop_min)]
    lost_min = loom.minutes_lost_per_100k_picks(stops)
    sheet.ask("lost_min", lost_min, " + ".join(f"{num(n)} × {num(each)}" for n, each in stops))
    running_min = Decimal(100_000) / ppm
    sheet.put("running_min", running_min, f"100 000 ÷ {ppm}")
    sheet.ask(
        "efficiency_pct",
        loom.efficiency_pct_from_stops(ppm=ppm, lost_min_per_100k_picks=lost_min),
        f"{num(running_min)} ÷ ({num(running_min)} + {num(lost_min)})",
    )
    if lost_min:
        ratio = lost_min / running_min
        sheet.ask(
            "shared_efficiency_pct",
            loom.interference_efficiency_pct(looms=looms, service_ratio=ratio),
            f"N = {looms}, ρ = {num(lost_min)} ÷ {num(running_min)} = {num(ratio)}",
        )


TOO_FAST = W_("%(n)s %% is more than the loom can weave. Check speed, picks and time.")


@enter(
    "measured-efficiency",
    N_("Efficiency from cloth woven"),
    N_("Loom"),
    N_(
        "The running efficiency that a loom had, from what it wove in the time it was to run: cleaning, waits and"
        " gaiting are taken off the time before."
    ),
    Input("woven_m", N_("Woven"), "number", "m", "254.5 yd", N_("Grey length."), above=0, most=1_000_000),
    Input(
        "picks_per_cm", N_("Picks per cm"), "number", "per_cm", "60 ppi", N_("In the grey cloth."), above=0, most=500
    ),
    Input("ppm", N_("Picks a minute"), "whole", "picks_per_min", "216", least=1, most=5000),
    Input("ran_min", N_("Time it was to run"), "number", "min", "53 h", above=0, most=1_000_000),
)
def _measured_efficiency(sheet: Sheet, *, woven_m: Decimal, picks_per_cm: Decimal, ppm: int, ran_min: Decimal) -> None:
    picks = woven_m * picks_per_cm * 100
    sheet.ask("woven_picks", picks, f"{num(woven_m)} × {num(picks_per_cm)} × 100")
    found_pct = loom.running_efficiency_pct(picks=picks, ppm=ppm, minutes=ran_min)
    sheet.ask("measured_efficiency_pct", found_pct, f"{num(picks)} ÷ ({ppm} × {num(ran_min)})")
    if found_pct > 100:
        sheet.remarks.append(TOO_FAST % {"n": num(rounded(found_pct, "efficiency_pct"))})
