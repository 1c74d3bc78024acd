"""The reckoner's sums of finishing: to grey, to finished, measured shrinkage. Knows no piece."""

from decimal import Decimal

from mill.refusal import N_
from planning import finishing, piece
from planning.reckoner.common import (
    LENGTH_STEPS,
    LOSS_STEPS,
    WIDTH_STEPS,
    finished_mass,
)
from planning.reckoner.sheet import Input, Sheet, enter, left, num


@enter(
    "to-grey",
    N_("Finished to grey"),
    N_("Finishing"),
    N_(
        "What must leave the loom to finish as ordered. Shrinkage is a share of the grey size, so the finished size is"
        " divided: 10 in at 20 % need 12.5 in, not 12."
    ),
    Input("finished_width_cm", N_("Finished width"), "number", "cm", "150", above=0, most=2000),
    Input("finished_length_m", N_("Finished length"), "number", "m", "60", above=0, most=1_000_000),
    Input("finished_g_per_m2", N_("Finished mass"), "number", "g_per_m2", "", "", above=0, most=10_000, required=False),
    WIDTH_STEPS,
    LENGTH_STEPS,
    LOSS_STEPS,
)
def _to_grey(
    sheet: Sheet,
    *,
    finished_width_cm: Decimal,
    finished_length_m: Decimal,
    finished_g_per_m2: Decimal | None,
    width_steps_pct: tuple[Decimal, ...],
    length_steps_pct: tuple[Decimal, ...],
    loss_steps_pct: tuple[Decimal, ...],
) -> None:
    width_pct, length_pct, loss_pct = _route(sheet, width_steps_pct, length_steps_pct, loss_steps_pct)
    sheet.ask(
        "grey_width_cm",
        finishing.grey_from_finished(finished_width_cm, loss_pct=width_pct),
        f"{num(finished_width_cm)}{left('÷', (width_pct,))}",
    )
    sheet.ask(
        "grey_m",
        finishing.grey_from_finished(finished_length_m, loss_pct=length_pct),
        f"{num(finished_length_m)}{left('÷', (length_pct,))}",
    )
    if finished_g_per_m2 is not None:
        area = finishing.finished_from_grey(finished_g_per_m2, loss_pct=width_pct)
        mass = finishing.finished_from_grey(area, loss_pct=length_pct)
        sheet.ask(
            "grey_g_per_m2",
            finishing.grey_from_finished(mass, loss_pct=loss_pct),
            f"{num(finished_g_per_m2)}{left('×', (width_pct, length_pct))}{left('÷', (loss_pct,))}",
        )


def _route(sheet: Sheet, *steps_pct: tuple[Decimal, ...]) -> tuple[Decimal, Decimal, Decimal]:
    """The whole route's shrinkage in width and length, and its loss of mass."""
    found = []
    for name, steps in zip(("route_width_pct", "route_length_pct", "route_loss_pct"), steps_pct, strict=True):
        whole_pct = finishing.route_shrink_pct(steps)
        found.append(sheet.put(name, whole_pct, f"1 − 1{left('×', steps)}"))
    width_pct, length_pct, loss_pct = found
    return width_pct, length_pct, loss_pct


@enter(
    "to-finished",
    N_("Grey to finished"),
    N_("Finishing"),
    N_(
        "What a grey piece finishes at, through the steps of its route. Each step works on what the one before has"
        " left, so steps compound and don't add."
    ),
    Input("grey_width_cm", N_("Grey width"), "number", "cm", "166.7", above=0, most=2000),
    Input("grey_length_m", N_("Grey length"), "number", "m", "63.9", above=0, most=1_000_000),
    Input("grey_g_per_m2", N_("Grey mass"), "number", "g_per_m2", "", "", above=0, most=10_000, required=False),
    WIDTH_STEPS,
    LENGTH_STEPS,
    LOSS_STEPS,
)
def _to_finished(
    sheet: Sheet,
    *,
    grey_width_cm: Decimal,
    grey_length_m: Decimal,
    grey_g_per_m2: Decimal | None,
    width_steps_pct: tuple[Decimal, ...],
    length_steps_pct: tuple[Decimal, ...],
    loss_steps_pct: tuple[Decimal, ...],
) -> None:
    width_pct, length_pct, loss_pct = _route(sheet, width_steps_pct, length_steps_pct, loss_steps_pct)
    sheet.ask(
        "finished_width_cm",
        finishing.finished_from_grey(grey_width_cm, loss_pct=width_pct),
        f"{num(grey_width_cm)}{left('×', (width_pct,))}",
    )
    sheet.ask(
        "finished_m",
        finishing.finished_from_grey(grey_length_m, loss_pct=length_pct),
        f"{num(grey_length_m)}{left('×', (length_pct,))}",
    )
    if grey_g_per_m2 is not None:
        finished_mass(sheet, grey_g_per_m2, width_pct=width_pct, length_pct=length_pct, loss_pct=loss_pct)


@enter(
    "shrinkage",
    N_("Shrinkage of a measured piece"),
    N_("Finishing"),
    N_("What a piece lost, from its grey and its finished size, and how much must be added to the next one for it."),
    Input("grey_width_cm", N_("Grey width"), "number", "cm", "166.7", above=0, most=2000),
    Input("finished_width_cm", N_("Finished width"), "number", "cm", "150", above=0, most=2000),
    Input("grey_length_m", N_("Grey length"), "number", "m", "63.9", above=0, most=1_000_000),
    Input("finished_length_m", N_("Finished length"), "number", "m", "60", above=0, most=1_000_000),
)
def _shrinkage(
    sheet: Sheet,
    *,
    grey_width_cm: Decimal,
    finished_width_cm: Decimal,
    grey_length_m: Decimal,
    finished_length_m: Decimal,
) -> None:
    for name, grey, finished in (
        ("shrunk_width_pct", grey_width_cm, finished_width_cm),
        ("shrunk_length_pct", grey_length_m, finished_length_m),
    ):
        sheet.ask(
            name, piece.shrink_pct(grey=grey, finished=finished), f"({num(grey)} − {num(finished)}) ÷ {num(grey)}"
        )
    length_pct = piece.shrink_pct(grey=grey_length_m, finished=finished_length_m)
    if length_pct < 0:
        sheet.remarks.append(N_("The piece grew in length: nothing is to be added."))
    else:
        # The same turn from one base to the other as from take-up to crimp.
        added_pct = finishing.loss_pct(before=finished_length_m, after=grey_length_m) * -1
        sheet.ask("added_pct", added_pct, f"{num(length_pct)} % ÷ (1 − {num(length_pct)} %)")
