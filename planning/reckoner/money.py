"""The reckoner's sum of money: what pieces cost, and their price. Knows no rate of the mill's."""

from decimal import Decimal

from mill.refusal import N_
from mill.working import W_
from planning.cost import PER_M, THE_WARP, PieceJob, Rates, Stated, StepRate, WarpJob, YarnUsed, price_of, work_out_cost
from planning.reckoner.common import GREY_LENGTH, pct_input
from planning.reckoner.sheet import Input, Sheet, enter, whole_near

STEP = W_("all steps")
YARN = W_("yarn")


def _hours(name: str, label: str, hour: str, minutes: str, rate: str, help: str) -> tuple[Input, Input]:
    return (
        Input(f"{name}_min", label, "whole", "min", minutes, help, least=0, most=1_000_000),
        Input(f"{name}_per_h", hour, "number", "number", rate, least=0, most=100_000),
    )


@enter(
    "cost",
    N_("Cost and price of pieces"),
    N_("Money"),
    N_(
        "What pieces of one warp cost, line by line, and the price that leaves a margin. The set-up, the warping and"
        " the thrums are shared among the pieces; a margin is a share of the price, and no mark-up on the cost."
    ),
    Input("pieces", N_("Pieces"), "whole", "pieces", "1", least=1, most=10_000),
    Input("finished_length_m", N_("Finished length of a piece"), "number", "m", "120", above=0, most=100_000),
    GREY_LENGTH,
    Input("warp_kg", N_("Warp yarn, all pieces"), "number", "kg", "26.959", N_("With waste."), least=0, most=1_000_000),
    Input("weft_kg", N_("Weft yarn, all pieces"), "number", "kg", "25.218", N_("With waste."), least=0, most=1_000_000),
    Input("price_per_kg", N_("A kilogram of it costs"), "number", "number", "9.50", least=0, most=100_000),
    Input(
        "warp_length_m", N_("Warp wound"), "number", "m", "140.9", N_("With headers and thrums."), above=0, most=100_000
    ),
    Input("thrums_m", N_("Thrums"), "number", "m", "3", N_("Once a warp: what no piece gets."), least=0, most=100_000),
    *_hours("warping", N_("Warping"), N_("An hour of it, warping"), "137", "30", N_("Of the whole warp.")),
    *_hours("set_up", N_("Set-up"), N_("An hour of it, set-up"), "585", "24", N_("While the loom stands for it.")),
    *_hours("weaving", N_("Weaving"), N_("An hour of it, weaving"), "702", "18", N_("All pieces.")),
    *_hours("mending", N_("Mending"), N_("An hour of it, mending"), "38", "21", N_("All pieces.")),
    Input("finishing_per_m", N_("Finishing, a grey metre"), "number", "number", "0.85", least=0, most=100_000),
    pct_input("seconds_pct", N_("Seconds"), "4", N_("Of the metres.")),
    pct_input("worth_pct", N_("What a second fetches"), "60", N_("Of its cost."), below=None, most=100),
    pct_input("overhead_pct", N_("Overhead"), "12", N_("Of all costs before it."), below=None, most=1000),
    pct_input("margin_pct", N_("Margin"), "25", N_("Of the price.")),
)
def _cost(
    sheet: Sheet,
    *,
    pieces: int,
    finished_length_m: Decimal,
    grey_length_m: Decimal,
    warp_kg: Decimal,
    weft_kg: Decimal,
    price_per_kg: Decimal,
    warp_length_m: Decimal,
    thrums_m: Decimal,
    warping_min: int,
    warping_per_h: Decimal,
    set_up_min: int,
    set_up_per_h: Decimal,
    weaving_min: int,
    weaving_per_h: Decimal,
    mending_min: int,
    mending_per_h: Decimal,
    finishing_per_m: Decimal,
    seconds_pct: Decimal,
    worth_pct: Decimal,
    overhead_pct: Decimal,
    margin_pct: Decimal,
) -> None:
    one = PieceJob(
        name="1",
        grey_m=grey_length_m * pieces,
        finished_m=finished_length_m * pieces,
        grey_g=0,
        finished_g=0,
        weaving=Decimal(1),
        passes={STEP: 1},
        mending_min=Decimal(mending_min),
    )
    price = Stated(price_per_kg)
    job = WarpJob(
        name=THE_WARP,
        yarns=(
            YarnUsed("warp", YARN, whole_near(warp_kg * 1000), price),
            YarnUsed("weft", YARN, whole_near(weft_kg * 1000), price),
        ),
        warp_length_m=warp_length_m,
        thrums_m=thrums_m,
        warping_min=warping_min,
        set_up="set-up",
        set_up_min=set_up_min,
        weaving_min=weaving_min,
        pieces=(one,),
    )
    cost = work_out_cost(
        job,
        Rates(
            currency="",
            warping_per_h=Stated(warping_per_h),
            set_up_per_h=Stated(set_up_per_h),
            loom_per_h=Stated(weaving_per_h),
            mending_per_h=Stated(mending_per_h),
            steps={STEP: StepRate(PER_M, Stated(finishing_per_m))},
            seconds_pct=Stated(seconds_pct),
            worth_pct=Stated(worth_pct),
            overhead_pct=Stated(overhead_pct),
        ),
    )
    sheet.working.steps += (*cost.working, *price_of(cost, margin_pct=margin_pct).working)
    sheet.asked += ["total", "per_m", "price_per_m", "price", "margin"]
