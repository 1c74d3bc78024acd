"""A count worked to tex, step by step, and the regain a yarn is reckoned at. Knows no yarn of the store."""

from decimal import ROUND_HALF_UP, Decimal

from inventory.yarn import Count, length_m, plain
from mill.refusal import N_
from mill.working import W_, Working

NUMBER_ONE = W_("Number 1 in %(of)s")
# By the kind of the system, and whether its number is that of the singles.
RULES = {
    ("direct", False): N_("number × number 1"),
    ("direct", True): N_("folds × number × number 1"),
    ("indirect", False): N_("number 1 ÷ number"),
    ("indirect", True): N_("folds × number 1 ÷ number"),
}
TEX_PLACES = Decimal("0.0001")
# Of number 1, so that a count worked from it is right to the four places that are kept: 150 den × 0.1111111 tex.
NUMBER_ONE_PLACES = Decimal("0.0000001")


def as_stored(count_tex: Decimal) -> Decimal:
    """Tex as the book keeps it: to four places.

    >>> as_stored(Decimal("36.90882"))
    Decimal('36.9088')
    """
    return count_tex.quantize(TEX_PLACES, rounding=ROUND_HALF_UP)


def work_out_count(count: Count) -> tuple[Decimal, Working]:
    """Tex of a count as bought, and the working.

    >>> from inventory.yarn import read_count
    >>> count_tex, working = work_out_count(read_count("2/48 nw"))
    >>> count_tex, working.of("count_tex").sum
    (Decimal('36.9088'), '2 × 885.8118712 ÷ 48')

    Source: tex is grams per 1000 m (ISO 1144); what number 1 of the system is stands in its step.
    """
    working, system = Working(), count.system
    of_one = working.add(
        system.tex_of_one.quantize(NUMBER_ONE_PLACES, rounding=ROUND_HALF_UP),
        name="tex_of_one",
        label=NUMBER_ONE % {"of": system.name},
        formula=N_("grams ÷ metres × 1000"),
        sum=f"{plain(_short(system.mass_g))} g ÷ {plain(_short(system.length_m))} m × 1000",
        unit="tex",
        source=system.authority,
    )
    is_of_singles = count.folds > 1 and system.folding == "single"
    folds = f"{count.folds} × " if is_of_singles else ""
    number = plain(count.number)
    count_tex = working.add(
        as_stored(count.count_tex),
        name="count_tex",
        label="Count",
        formula=RULES[system.kind, is_of_singles],
        sum=f"{folds}{number} × {plain(of_one)}" if system.kind == "direct" else f"{folds}{plain(of_one)} ÷ {number}",
        unit="tex",
        source=N_("ISO 1144. Nominal: what twisting takes up is left out"),
    )
    working.add(
        length_m(mass_g=1000, count_tex=count_tex).quantize(Decimal(1), ROUND_HALF_UP),
        name="length_m",
        label=N_("In a kilogram"),
        formula=N_("1 000 000 ÷ tex"),
        sum=f"1 000 000 ÷ {plain(count_tex)}",
        unit="m",
        source="ISO 1144",
    )
    return count_tex, working


def _short(number: Decimal) -> Decimal:
    return number.quantize(Decimal("0.00001"), rounding=ROUND_HALF_UP)
