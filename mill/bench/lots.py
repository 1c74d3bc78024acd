"""Lots shared out to all warps together, against one warp after the other: who stays short, what is left, how long."""

import time
from argparse import ArgumentParser
from collections.abc import Callable, Sequence
from dataclasses import fields
from datetime import date, timedelta
from random import Random
from typing import Any

from inventory.dealing import one_by_one
from inventory.draw import Lot, Need, in_pieces
from inventory.share_out import Outcome, Want, share_out, weight_of
from inventory.shelf import Shelf

BEGINS = date(2026, 11, 23)
WARPS, LOTS, YARNS = 600, 10_000, 400
LOTS_PER_DYE_LOT, USEFUL_G = 5, 3000
# Grams free for a gram needed: a store that is bare, just enough, and full.
SUPPLIES = (0.8, 1.1, 2.0)


def arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--seed", type=int, default=1)


def a_store(seed: int, *, supply: float) -> tuple[list[Want], list[Lot]]:
    """600 planned warps of one to three colours in the warp and in the weft, and 10 000 lots; some yarns serve many."""
    dice = Random(seed)  # noqa: S311
    wanted = [1 / (1 + n / 50) for n in range(YARNS)]
    needs_g = [0] * YARNS
    wants: list[Want] = []
    for number in range(1, WARPS + 1):
        days, importance, pieces = dice.randint(0, 90), dice.choice((1, 1, 1, 2, 3)), dice.randint(2, 8)
        for use in ("warp", "weft"):
            for yarn in sorted(set(dice.choices(range(YARNS), wanted, k=dice.randint(1, 3)))):
                grams = dice.randint(2000, 20_000)
                needs_g[yarn] += grams
                need = Need(
                    yarn,
                    grams,
                    use,
                    f"Warp {number}, {use} yarn {yarn},",
                    in_pieces(grams, pieces) if use == "weft" else (),
                )
                name = f"Warp {number}" if use == "warp" else f"the weft of Warp {number}"
                wants.append(Want(need, name, BEGINS + timedelta(days), weight_of(days, importance)))
    lots = []
    each = LOTS // YARNS
    for yarn in range(YARNS):
        shares = [dice.uniform(0.4, 1.6) for _ in range(each)]
        total_g = max(needs_g[yarn] * supply, 5000)
        for n, share in enumerate(shares):
            came_on = BEGINS - timedelta(dice.randint(1, 300))
            grams = max(1, int(total_g * share / sum(shares)))
            lots.append(Lot(f"L{yarn}.{n}", yarn, f"{yarn}-{n // LOTS_PER_DYE_LOT}", grams, came_on))
    return wants, lots


def one_after_the_other(wants: Sequence[Want], lots: Sequence[Lot]) -> Outcome:
    """The outcome when each need chooses for itself, in the order in which they are wanted."""
    total = Outcome()
    for yarn in dict.fromkeys(want.need.yarn for want in wants):
        shelf = Shelf(
            yarn,
            [want for want in wants if want.need.yarn == yarn],
            [lot for lot in lots if lot.yarn == yarn],
            USEFUL_G,
        )
        gifts = one_by_one(shelf)
        cost = shelf.cost_of(gifts)
        assert cost is not None
        total += Outcome(cost[0], sum(not gift for gift in gifts), *cost[2:])
    return total


def run(write: Callable[[str], Any], *, seed: int) -> None:
    """Processor seconds, so that what else the machine does is left out."""
    write(f"{WARPS} planned warps, {LOTS} lots of {YARNS} yarns; below {USEFUL_G} g a remainder is of little use")
    for supply in SUPPLIES:
        wants, lots = a_store(seed, supply=supply)
        began = time.process_time()
        alone = one_after_the_other(wants, lots)
        alone_s = time.process_time() - began
        began = time.process_time()
        shares = share_out(wants, lots, useful_g=USEFUL_G)
        together_s = time.process_time() - began
        together = sum((one.outcome for one in shares), Outcome())
        proven, fewest = sum(one.is_proven for one in shares), sum(one.is_fewest_short for one in shares)
        write(
            f"\n{supply:g} g free for each that is needed, {len(wants)} needs of {len(shares)} yarns:"
            f" {proven} yarns proven best, {fewest} with the least short"
        )
        write(f"{'':14}{'one by one':>14}{'together':>14}{'ratio':>8}")
        for name, before, after in [
            ("needs met", len(wants) - alone.short, len(wants) - together.short),
            *((f.name.replace("_", " "), getattr(alone, f.name), getattr(together, f.name)) for f in fields(Outcome)),
        ]:
            write(f"{name:14}{before:14,}{after:14,}{after / before if before else 1:8.3f}")
        write(f"{'seconds':14}{alone_s:14.2f}{together_s:14.2f}{together_s / alone_s:8.1f}")
