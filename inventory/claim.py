"""The short-weight claim: what was invoiced against what came, at the agreed regain. Knows no delivery or supplier.

Yarn is paid for by its dry mass and a regain that was agreed. Weighed damp it seems whole with yarn missing, weighed
dry it seems short with none: only with its moisture measured can a claim be made.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from inventory.yarn import dry_mass_g, invoice_mass_g, plain
from mill.refusal import N_, Refusal
from mill.working import W_, Working

SOURCE = W_("Correct invoice mass = dry mass × (1 + regain). The regain agreed: %(source)s")
DRY = W_("Lot %(lot)s, oven-dry")
AT_AGREED = W_("Lot %(lot)s, at the agreed regain")


@dataclass(frozen=True, slots=True)
class Weighed:
    """A lot as it was weighed, net, and the regain that was measured in it."""

    label: str
    weighed_g: int
    measured_regain_pct: Decimal | None


@dataclass(frozen=True, slots=True)
class ClaimFigures:
    """What a claim says, in whole grams.

    due_g      what the lots come to at the agreed regain; `lots_due_g` each by itself, in their order
    short_g    invoiced beyond that
    """

    invoiced_g: int
    weighed_g: int
    due_g: int
    short_g: int
    lots_due_g: tuple[int, ...]


def work_out_claim(
    *, invoiced_g: int, weighed: Sequence[Weighed], agreed_regain_pct: Decimal, agreed_by: str
) -> tuple[ClaimFigures, Working]:
    """What is short of an invoice, and the working.

    invoiced_g          net, as the supplier's invoice has it: at the agreed regain
    agreed_regain_pct   on the oven-dry mass; `agreed_by` is the table that it stands in

    Each lot is rounded up to whole grams: a claim never asks for a gram that isn't missing.

    >>> lots = [Weighed("A12", 10_300, Decimal(3))]
    >>> figures, working = work_out_claim(
    ...     invoiced_g=12_000, weighed=lots, agreed_regain_pct=Decimal(17), agreed_by="EU 1007/2011 annex IX")
    >>> figures.due_g, figures.short_g, working.of("short_g").sum
    (11700, 300, '12000 − 11700')

    Raises Refusal without lots, without their moisture, and when nothing is short.
    Source: correct invoice mass = dry mass x (1 + R).
    """
    if not weighed:
        raise Refusal(N_("No lot was weighed: 0 lots. Receive what came of the delivery, then claim."))
    for lot in weighed:
        if lot.measured_regain_pct is None:
            raise Refusal(
                N_(
                    "The moisture of lot %(lot)s was not measured: %(grams)s g may be short of yarn or of water."
                    " Measure a cone, then claim."
                ),
                field="moisture",
                lot=lot.label,
                grams=lot.weighed_g,
            )
        if lot.weighed_g <= 0:
            raise Refusal(
                N_("Lot %(lot)s can't weigh %(grams)s g. Write what the scales had."),
                lot=lot.label,
                grams=lot.weighed_g,
            )
    working, source = Working(), SOURCE % {"source": agreed_by}
    due: list[int] = []
    for n, lot in enumerate(weighed, start=1):
        assert lot.measured_regain_pct is not None
        measured = plain(lot.measured_regain_pct)
        dry_g = dry_mass_g(mass_g=lot.weighed_g, regain_pct=lot.measured_regain_pct)
        working.add(
            dry_g.quantize(Decimal(1), rounding=ROUND_HALF_UP),
            name=f"dry_g_{n}",
            label=DRY % {"lot": lot.label},
            formula=N_("weighed ÷ (1 + measured regain)"),
            sum=f"{lot.weighed_g} ÷ (1 + {measured} %)",
            unit="g",
            source=N_("EU 1007/2011, annex IX adds the regain to the dry mass"),
        )
        due_g = invoice_mass_g(
            net_mass_g=lot.weighed_g,
            measured_regain_pct=lot.measured_regain_pct,
            agreed_regain_pct=agreed_regain_pct,
        ).to_integral_value(rounding=ROUND_CEILING)
        due.append(
            working.add(
                int(due_g),
                name=f"due_g_{n}",
                label=at_agreed(lot.label),
                formula=N_("weighed × (1 + agreed regain) ÷ (1 + measured regain), upwards"),
                sum=f"{lot.weighed_g} × (1 + {plain(agreed_regain_pct)} %) ÷ (1 + {measured} %)",
                unit="g",
                source=source,
            )
        )
    together_g = working.add(
        sum(due),
        name="due_g",
        label=N_("Came, at the agreed regain"),
        formula=N_("the lots together"),
        sum=" + ".join(map(str, due)),
        unit="g",
        source=N_("arithmetic"),
    )
    if together_g >= invoiced_g:
        raise Refusal(
            N_(
                "%(came)s g came at %(pct)s %% regain, and %(invoiced)s g were invoiced: nothing is short. Look at the"
                " invoice, or leave the claim."
            ),
            field="invoiced_g",
            came=together_g,
            pct=Decimal(plain(agreed_regain_pct)),
            invoiced=invoiced_g,
        )
    short_g = working.add(
        invoiced_g - together_g,
        name="short_g",
        label=N_("Short"),
        formula=N_("invoiced − came"),
        sum=f"{invoiced_g} − {together_g}",
        unit="g",
        source=N_("arithmetic"),
    )
    weighed_g = sum(lot.weighed_g for lot in weighed)
    return ClaimFigures(invoiced_g, weighed_g, together_g, short_g, tuple(due)), working


def at_agreed(lot: str) -> str:
    """What the step is called that reckons a lot at the agreed regain."""
    return AT_AGREED % {"lot": lot}
