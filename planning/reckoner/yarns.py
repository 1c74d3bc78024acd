"""The reckoner's sums of yarn: counts, folds, packages, regain. Knows no lot."""

from decimal import Decimal

from inventory import yarn
from inventory.yarn import Count
from mill.refusal import N_, Refusal
from mill.working import W_
from planning.reckoner.common import CONE, REGAINS, SYSTEMS, as_tex, count_input, pct_input
from planning.reckoner.sheet import Input, Sheet, enter, fine, left, num

NUMBER_ONE = W_("number 1 is %(n)s tex: %(authority)s")
# What the number of a folded yarn names, by its system.
NAMING = {
    "single": W_("%(n)s-fold, the number names a single"),
    "resultant": W_("%(n)s-fold, the number names the whole"),
}


@enter(
    "count",
    N_("Count conversion"),
    N_("Yarn"),
    N_(
        "One count system into another. In cotton, worsted, linen, woollen and metric counts the number of a folded"
        " yarn is that of its singles; in spun silk and in tex it is that of the whole."
    ),
    count_input("count", "Count", "2/48 nw"),
    Input("to_system", N_("Into"), "choice", default="nm", choices=SYSTEMS),
)
def _convert_count(sheet: Sheet, *, count: Count, to_system: str) -> None:
    count_tex = as_tex(sheet, "count_tex", count, ask=True)
    wanted = yarn.SYSTEMS[to_system]
    number = yarn.convert(count_tex, from_system="tex", to_system=to_system)
    factor = fine(wanted.tex_of_one)
    sum = f"{fine(count_tex)} ÷ {factor}" if wanted.kind == "direct" else f"{factor} ÷ {fine(count_tex)}"
    source = NUMBER_ONE % {"n": fine(wanted.tex_of_one), "authority": wanted.authority}
    sheet.ask("single_number", number, sum, unit=wanted.written[0], source=source)
    if count.folds > 1:
        as_bought = yarn.count_of_tex(count_tex, system=to_system, folds=count.folds).notation
        sheet.ask("number", as_bought, NAMING[wanted.folding] % {"n": count.folds}, source=source)
    sheet.ask("yd_per_lb", yarn.yd_per_lb(count_tex), f"453.59237 ÷ (0.9144 × {fine(count_tex)}) × 1000")
    sheet.ask("m_per_kg", yarn.length_m(mass_g=1000, count_tex=count_tex), f"1000 g × 1000 ÷ {fine(count_tex)} tex")
    if wanted.note:
        sheet.remarks.append(wanted.note)


@enter(
    "folded",
    N_("Folded count"),
    N_("Yarn"),
    N_("What yarns twisted together make. Counts in tex add; indirect counts do not: 60s and 40s cotton make 24s."),
    Input("counts", N_("Singles"), "counts", default="60 ne + 40 ne", help=N_("Two or more, joined by +.")),
    pct_input("twist_take_up_pct", N_("Take-up in twisting"), "0", N_("Of the length of the singles.")),
    Input("to_system", N_("Into"), "choice", default="ne", choices=SYSTEMS),
)
def _fold(sheet: Sheet, *, counts: tuple[Count, ...], twist_take_up_pct: Decimal, to_system: str) -> None:
    tex = [
        as_tex(sheet, f"count_tex_{number}", count, of=f"{number}: {count.notation}")
        for number, count in enumerate(counts, start=1)
    ]
    sheet.put("singles_tex", yarn.folded_tex(tex, take_up_pct=Decimal(0)), " + ".join(fine(each) for each in tex))
    folded_tex = yarn.folded_tex(tex, take_up_pct=twist_take_up_pct)
    together = fine(sum(tex, Decimal(0)))
    sheet.ask("folded_tex", folded_tex, f"{together}{left('÷', (twist_take_up_pct,))}")
    wanted = yarn.SYSTEMS[to_system]
    factor = fine(wanted.tex_of_one)
    whole = fine(folded_tex)
    sheet.ask(
        "single_number",
        yarn.convert(folded_tex, from_system="tex", to_system=to_system),
        f"{whole} ÷ {factor}" if wanted.kind == "direct" else f"{factor} ÷ {whole}",
        unit=wanted.written[0],
        source=NUMBER_ONE % {"n": factor, "authority": wanted.authority},
    )
    sheet.ask(
        "singles_m",
        yarn.singles_length_m(folded_length_m=1000, take_up_pct=twist_take_up_pct),
        f"1000{left('÷', (twist_take_up_pct,))}",
    )


@enter(
    "missing-single",
    N_("The single to fold with another"),
    N_("Yarn"),
    N_(
        "Which yarn, twisted with one at hand, makes the count that is wanted. All three in one indirect system, such"
        " as worsted or metric."
    ),
    Input("known_number", N_("Number at hand"), "number", "number", "30", above=0, most=10_000),
    Input("resultant_number", N_("Number wanted, of the whole"), "number", "number", "21", above=0, most=10_000),
)
def _missing_single(sheet: Sheet, *, known_number: Decimal, resultant_number: Decimal) -> None:
    if resultant_number >= known_number:
        raise Refusal(
            N_(
                "A yarn of %(whole)s can't hold a single of %(single)s: folded yarn is coarser. Write less than"
                " %(single)s."
            ),
            field="resultant_number",
            whole=Decimal(num(resultant_number)),
            single=Decimal(num(known_number)),
        )
    sheet.ask(
        "missing_count",
        yarn.missing_ply(known_count=known_number, resultant_count=resultant_number),
        f"{num(known_number)} × {num(resultant_number)} ÷ ({num(known_number)} − {num(resultant_number)})",
    )


@enter(
    "package",
    N_("Yarn on a package"),
    N_("Yarn"),
    N_("How long the yarn on a cone or in a bag is, from what it weighs without its cone."),
    count_input("count", "Count", "2/48 nw"),
    CONE,
)
def _package(sheet: Sheet, *, count: Count, cone_g: Decimal) -> None:
    tex = as_tex(sheet, "count_tex", count)
    sheet.ask(
        "package_length_m",
        yarn.length_m(mass_g=cone_g, count_tex=tex),
        f"{num(cone_g)} g × 1000 ÷ {fine(tex)} tex",
    )


AS_AGREED = N_("as agreed")
OF_TABLE = W_("%(fibre)s: %(authority)s")


@enter(
    "invoice",
    N_("Invoice mass at regain"),
    N_("Yarn"),
    N_(
        "What yarn is paid for, or reckoned at in stock: its dry mass with the regain agreed. A store weighed in dry"
        " winter air reads 3 to 4 % light with no yarn missing."
    ),
    Input(
        "net_g", N_("Net mass"), "number", "g", "100 kg", N_("As weighed, without cones."), above=0, most=100_000_000
    ),
    Input("moisture_pct", N_("Moisture measured"), "number", "pct", "12", N_("By meter or oven."), least=0, most=100),
    Input(
        "moisture_is",
        N_("which is"),
        "choice",
        default="regain",
        choices=(("regain", N_("regain, of the dry mass")), ("content", N_("content, of the whole"))),
        help=N_("Most meters show content."),
    ),
    Input(
        "regain",
        N_("Regain agreed"),
        "choice",
        default="eu-wool-carded",
        choices=REGAINS,
        help=N_("Tables disagree: take the one that the contract names."),
    ),
    Input(
        "agreed_regain_pct",
        N_("or another regain"),
        "number",
        "pct",
        "",
        N_("Takes the place of the table's."),
        required=False,
        least=0,
        most=100,
    ),
)
def _invoice(
    sheet: Sheet,
    *,
    net_g: Decimal,
    moisture_pct: Decimal,
    moisture_is: str,
    regain: str,
    agreed_regain_pct: Decimal | None,
) -> None:
    said = num(moisture_pct)
    if moisture_is == "content":
        if moisture_pct > 50:
            raise Refusal(
                N_(
                    "A content of %(content)s %% can't be in yarn: it is the water's share of the whole. Write 50 %% or"
                    " less, or say that it is regain."
                ),
                field="moisture_pct",
                content=Decimal(said),
            )
        measured_pct = yarn.regain_from_content_pct(moisture_pct)
        sheet.ask("regain_pct", measured_pct, f"{said} % ÷ (1 − {said} %)")
    else:
        measured_pct = moisture_pct
        sheet.ask("content_pct", yarn.moisture_content_pct(moisture_pct), f"{said} % ÷ (1 + {said} %)")
    table = yarn.regain_called(regain)
    agreed_pct = table.regain_pct if agreed_regain_pct is None else agreed_regain_pct
    source = (
        AS_AGREED if agreed_regain_pct is not None else OF_TABLE % {"fibre": table.fibre, "authority": table.authority}
    )
    dry_g = yarn.dry_mass_g(mass_g=net_g, regain_pct=measured_pct)
    sheet.ask("dry_g", dry_g, f"{num(net_g)} g ÷ (1 + {num(measured_pct)} %)")
    sheet.ask(
        "invoice_g",
        yarn.invoice_mass_g(net_mass_g=net_g, measured_regain_pct=measured_pct, agreed_regain_pct=agreed_pct),
        f"{num(dry_g)} g × (1 + {num(agreed_pct)} %)",
        source=source,
    )
    if agreed_regain_pct is None and table.is_from_memory:
        sheet.remarks.append(N_("This regain is from memory: look it up before an invoice hangs on it."))
