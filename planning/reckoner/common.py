"""What several of the reckoner's sums ask for and work alike: counts, waste, picks. Enters no sum."""

from decimal import Decimal
from typing import Any

from inventory import yarn
from inventory.yarn import Count
from mill.refusal import N_
from mill.working import W_
from planning import cloth as cloths
from planning import sett, warp, weave, weft
from planning.reckoner.sheet import Input, Sheet, fine, left, num, six, whole_up

MOST_ENDS = weave.MOST_ENDS

# What is offered, in the words of its table.
A_RULE = W_("%(yarns)s, %(n)s (%(authority)s)")
A_REGAIN = W_("%(fibre)s, %(n)s %% (%(authority)s)")
SYSTEMS = tuple((system.key, system.name) for system in yarn.SYSTEMS.values())
REEDS = tuple((system.key, system.name) for system in sett.REED_SYSTEMS.values())
RULES = tuple(
    (rule.key, A_RULE % {"yarns": rule.yarns, "n": rule.constant, "authority": rule.authority.split(",")[0]})
    for rule in sett.SETTING_RULES.values()
)
WEAVES = tuple((name, name) for name in weave.PRESETS)
REGAINS = tuple(
    (regain.key, A_REGAIN % {"fibre": regain.fibre, "n": regain.regain_pct, "authority": regain.authority})
    for regain in yarn.REGAINS.values()
)
A_COUNT = N_("16 ysw, 2/48 nw, Nm 2/28, R 60/2 tex, 150 den")


def count_input(name: str, label: str, default: str, help: str = A_COUNT, *, required: bool = True) -> Input:
    return Input(name, label, "count", default=default, help=help, required=required)


def pct_input(name: str, label: str, default: str, help: str, **more: Any) -> Input:
    return Input(name, label, "number", "pct", default, help, **{"least": 0, "below": 100, **more})


ENDS = Input("ends", N_("Ends"), "whole", "ends", "1500", least=1, most=MOST_ENDS)
WARP_LENGTH = Input("warp_length_m", N_("Warp"), "number", "m", "141", above=0, most=100_000)
GREY_LENGTH = Input(
    "grey_length_m", N_("Grey length"), "number", "m", "127.7", N_("Off the loom."), above=0, most=1_000_000
)
PICKS = Input(
    "picks_per_cm", N_("Picks per cm"), "number", "per_cm", "8.46", N_("In the grey cloth."), above=0, most=500
)
PPM = Input("ppm", N_("Picks a minute"), "whole", "picks_per_min", "220", least=1, most=5000)
CONE = Input("cone_g", N_("A full cone"), "number", "g", "1000", N_("Yarn on it."), above=0, most=1_000_000)
WIDTH_STEPS = Input(
    "width_steps_pct",
    N_("Shrinkage in width, step by step"),
    "numbers",
    "pct",
    "10",
    N_("Of the width before each step; one or more, such as 8 % + 2 %. Below 0 where it stretches."),
    required=False,
    least=-100,
    below=100,
)
LENGTH_STEPS = Input(
    "length_steps_pct",
    N_("Shrinkage in length, step by step"),
    "numbers",
    "pct",
    "6",
    N_("Of the length before each step."),
    required=False,
    least=-100,
    below=100,
)
LOSS_STEPS = Input(
    "loss_steps_pct",
    N_("Loss of mass, step by step"),
    "numbers",
    "pct",
    "8 % + 2 %",
    N_("Of the mass into each step: oil, dirt, flock. Scour 8 %, raise and crop 2 %, from memory."),
    required=False,
    least=-100,
    below=100,
)


# By whether the number grows with the yarn's mass, and whether it is that of singles.
IN_TEX = {
    (True, False): W_("number × tex of 1; 1 %(system)s is %(n)s tex"),
    (True, True): W_("number × tex of 1 × folds; 1 %(system)s is %(n)s tex"),
    (False, False): W_("tex of 1 ÷ number; 1 %(system)s is %(n)s tex"),
    (False, True): W_("tex of 1 ÷ number × folds; 1 %(system)s is %(n)s tex"),
}


def as_tex(sheet: Sheet, name: str, count: Count, *, ask: bool = False, of: str = "") -> Decimal:
    """The count in tex, with its step: every sum that is given a count begins so."""
    system = count.system
    folds = f"{count.folds} × " if count.folds > 1 and system.folding == "single" else ""
    one = fine(system.tex_of_one)
    is_direct = system.kind == "direct"
    sheet.working.add(
        six(count.count_tex),
        name=name,
        label=of or N_("Count in tex, the whole yarn"),
        formula=IN_TEX[is_direct, bool(folds)] % {"system": system.written[0], "n": one},
        sum=f"{folds}{num(count.number)} × {one}" if is_direct else f"{folds}{one} ÷ {num(count.number)}",
        unit="tex",
        source=system.authority,
    )
    if ask:
        sheet.asked.append(name)
    return count.count_tex


def issue(sheet: Sheet, length_m: Decimal, tex: Decimal, *, waste_pct: Decimal, cone_g: Decimal) -> int:
    """Grams net, with waste, and in cones; hands on the net."""
    net_g = sheet.ask(
        "net_g",
        whole_up(yarn.mass_g(length_m=length_m, count_tex=tex)),
        f"{num(length_m)} m × {fine(tex)} tex ÷ 1000",
    )
    issue_g = sheet.ask(
        "issue_g", whole_up(warp.issue_g(net_g=net_g, waste_pct=waste_pct)), f"{net_g}{left('÷', (waste_pct,))}"
    )
    sheet.ask("cones", whole_up(Decimal(issue_g) / cone_g), f"{issue_g} ÷ {num(cone_g)}")
    return net_g


def lay_picks(sheet: Sheet, grey_length_m: Decimal, picks_per_cm: Decimal) -> int:
    return sheet.ask(
        "picks",
        weft.picks_per_piece(grey_length_m=grey_length_m, loom_picks_per_cm=picks_per_cm),
        f"{num(grey_length_m)} m × {num(picks_per_cm)} × 100",
    )


def finished_mass(
    sheet: Sheet, loom_g_per_m2: Decimal, *, width_pct: Decimal, length_pct: Decimal, loss_pct: Decimal
) -> Decimal:
    return sheet.ask(
        "finished_g_per_m2",
        cloths.finished_g_per_m2(
            loom_g_per_m2=loom_g_per_m2,
            mass_loss_pct=loss_pct,
            width_shrink_pct=width_pct,
            length_shrink_pct=length_pct,
        ),
        f"{num(loom_g_per_m2)} × (1 − {num(loss_pct)} %) ÷ ((1 − {num(width_pct)} %) × (1 − {num(length_pct)} %))",
    )
