"""What a warp, a piece, an order line and a quote cost: planned, and as it goes. Reads, and writes nothing.

As it goes is what was told so far (yarn drawn at its lots' own prices, loom time, metres measured, steps gone through,
minutes mended) with what is still to come as planned: so both columns are of the same pieces at every moment. Where
the floor tells nothing, of warping and set-ups, the plan's hours stand in both. Rates are those of the day on which
the warp was woven out, today's until then.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from django.utils import timezone
from django.utils.translation import gettext

from inventory.models import Reservation
from mill.models import Mill
from mill.refusal import N_, Refusal, Word
from mill.retold import retold
from mill.working import W_, Step
from planning.cost import (
    MISSING,
    THE_WARP,
    Compared,
    Cost,
    PieceJob,
    Rates,
    Stated,
    WarpJob,
    YarnUsed,
    compare,
    of_figures,
    of_pieces,
    planned_job,
    steps_of,
    together,
    work_out_cost,
)
from planning.finishing import is_at_the_perch
from planning.gaiting import SetUp, set_up_min
from planning.models import Colourway, Loom, OrderLine, Piece, Rate, Warp, WarpPart, WarpYarn, mill_facts, set_up_rates
from planning.services import promise as promises
from planning.services import woven
from planning.services.line_figures import LoomTime, looms_for, no_loom
from planning.services.line_states import free_pieces
from planning.services.pieces import mended_min
from planning.services.rates import RateBook, prices_of_lots, prices_on, rates_on
from planning.services.working_out import for_working_out, loom_of, slot_in_force
from planning.ticket import Figures, Run, from_json, work_out

MENDING_NONE = Decimal(0)
# Where quantities come from, among the figures of a sum.
OF_THE_MILL = W_("%(n)s ends by the mill’s own minutes of a set-up")
BY_PLAN = W_("%(set_up)s by plan %(plan)s")
BY_TICKET = W_("%(set_up)s by ticket %(ticket)s")
SET_UPS = tuple(W_(str(kind)) for kind in SetUp)
OF_LOOM = W_("loom %(loom)s")
ALLOWED = W_("the mill’s allowance for the metres off the loom")
TOLD = W_("%(n)s min told by the floor, the rest as planned")
MENDED = W_("as told; before anybody has looked, the mill’s allowance")
MEASURED = W_("as measured; what nobody has measured, as planned")
DRAWN = W_("drawn, less what came back")
DRAWN_OR_HELD = W_("drawn or held, by the ledger")
STILL_WANTED = W_("still wanted, figures of the warp")
# What some of a warp's pieces are called together.
OF_PIECE = W_("piece %(piece)s")
OF_LINE = W_("line %(line)s")
CENTIMETRE = Decimal("0.01")
# What had to be assumed: said in English, as it is kept with a quote, and said again in the language of a page.
RATES_WHEN_WOVEN_OUT = N_("Rates as on %(on)s, the day on which Warp %(warp)s was woven out.")
RATES_TODAY = N_("Rates as on %(on)s, today.")
NO_LOOM_YET = N_("It has no loom yet: reckoned on %(loom)s, the fastest that takes it.")
NO_SET_UP_SAID = N_("No plan says what its set-up was: a full gait-up is reckoned with.")
NO_PIECE_WRITTEN = N_("No piece of it was written down: all are taken as planned.")
NOBODY_TOLD = N_("Nobody told when %(n)s of %(all)s pieces were begun: the plan's loom time stands for them.")
NO_HOURS_TOLD = N_("Of warping and set-up the floor tells no hours: the plan's stand.")
TO_COME = N_("%(n)s of %(all)s pieces are not woven yet, and stand as planned.")
NO_LOT_DRAWN = N_("No lot was drawn for it in this book: its yarn is taken as planned.")
AS_ON = N_("Rates and prices as on %(on)s.")
ON_WARPS = N_("On %(n)s warps of their own, each after a %(set_up)s, on loom %(loom)s.")
ON_A_WARP = N_("On a warp of its own, after a %(set_up)s, on loom %(loom)s.")
NOTES = (
    *(RATES_WHEN_WOVEN_OUT, RATES_TODAY, NO_LOOM_YET, NO_SET_UP_SAID, NO_PIECE_WRITTEN, NOBODY_TOLD, NO_HOURS_TOLD),
    *(TO_COME, NO_LOT_DRAWN, AS_ON, ON_WARPS, ON_A_WARP),
)
# Of a line, which can be on several warps.
NOTES_OF = (N_("Warp %(number)s: %(note)s"), N_("On no warp yet: %(note)s"))


def notes_told(notes: Iterable[str]) -> list[str]:
    """What had to be assumed, in the language of the page."""
    kinds = tuple(str(kind) for kind in SetUp)

    def told(note: str) -> str:
        of = re.fullmatch(r"(Warp (?P<number>\d+)|On no warp yet): (?P<note>.+)", note)
        if of is None:
            return retold(note, NOTES, {"set_up": kinds})
        form = NOTES_OF[0] if of["number"] else NOTES_OF[1]
        return gettext(form) % {"number": of["number"], "note": told(of["note"])}

    return [told(note) for note in notes]


def missing_told(missing: Iterable[str]) -> list[str]:
    """Which prices and rates are not stated, in the language of the page."""
    return [retold(one, MISSING) for one in missing]


@dataclass(frozen=True)
class CostSheet:
    """What something costs, planned and as it goes.

    of       what it is, in words
    on       the day whose rates count
    woven    of its pieces
    notes    sentences: what was assumed, and on what day
    """

    of: str
    planned: Cost
    actual: Cost
    on: date
    woven: int
    pieces: int
    notes: tuple[str, ...]

    @property
    def rows(self) -> tuple[Compared, ...]:
        return compare(self.planned, self.actual)

    @property
    def worked(self) -> list[tuple[Compared, tuple[Step, ...], tuple[Step, ...]]]:
        """Each row with the steps that led to its two amounts."""
        return [
            (row, steps_of(self.planned.working, row.name), steps_of(self.actual.working, row.name))
            for row in self.rows
        ]

    @property
    def missing(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*self.planned.missing, *self.actual.missing)))


# A warp


@dataclass(frozen=True)
class _Worked:
    """A warp's two costs, and which piece is whose."""

    warp: Warp
    planned: Cost
    actual: Cost
    book: RateBook
    # By name, in the order of weaving: the pieces that are woven, and those that are to come.
    woven: tuple[Piece, ...]
    planned_names: tuple[str, ...]
    notes: tuple[str, ...]

    def planned_name(self, piece: Piece) -> str | None:
        """What the plan calls the piece: whose turn it was. None beyond what was planned."""
        at = next(n for n, one in enumerate(self.woven) if one.pk == piece.pk)
        return self.planned_names[at] if at < len(self.planned_names) else None

    @property
    def to_come(self) -> tuple[str, ...]:
        """Names in the actual cost of pieces that are not woven yet."""
        numbers = {piece.number for piece in self.woven}
        return tuple(piece.name for piece in self.actual.pieces if piece.name not in numbers)


def cost_of_warp(warp: Warp) -> CostSheet:
    """Raises Refusal where the warp can't be worked out, or no loom takes it."""
    done = _work_out(warp)
    return CostSheet(
        of=str(warp),
        planned=done.planned,
        actual=done.actual,
        on=done.book.on,
        woven=len(done.woven),
        pieces=len(done.actual.pieces),
        notes=done.notes,
    )


def cost_of_piece(piece: Piece) -> CostSheet:
    """A piece's share of what its warp costs. Raises Refusal for a piece without a warp, or beyond what was planned."""
    if piece.warp is None:
        raise Refusal(N_("Piece %(piece)s came off no warp of this book: what it cost is not known here."), piece=piece)
    done = _work_out(piece.warp)
    name = done.planned_name(piece)
    if name is None:
        raise Refusal(
            N_(
                "Piece %(piece)s is one more than the %(n)s that were planned on %(warp)s: it has no planned cost. Look"
                " at what %(warp)s costs."
            ),
            piece=piece,
            n=len(done.planned_names),
            warp=piece.warp,
        )
    return CostSheet(
        of=f"Piece {piece}",
        planned=of_pieces(done.planned, [name], called=OF_PIECE % {"piece": piece}),
        actual=of_pieces(done.actual, [piece.number], called=OF_PIECE % {"piece": piece}),
        on=done.book.on,
        woven=1,
        pieces=1,
        notes=done.notes,
    )


def cost_of_line(line: OrderLine) -> CostSheet:
    """Its pieces' shares of the warps that they are on; those on none yet are reckoned alone on one.

    Raises Refusal where one of the warps can't be worked out.
    """
    today = timezone.localdate()
    planned: list[tuple[str, Cost]] = []
    actual: list[tuple[str, Cost]] = []
    notes: dict[str, None] = {}
    n_woven = n_pieces = 0
    parts = WarpPart.objects.filter(line=line).select_related("warp").order_by("warp__number")
    warps = {part.warp_id: part.warp for part in parts}
    on = today
    for warp in warps.values():
        done = _work_out(warp)
        on = done.book.on
        own = [name for name in done.planned_names if name.startswith(f"{line} no. ")]
        mine = [
            piece.number
            for piece in done.woven
            if piece.line_id == line.pk or (piece.line_id is None and done.planned_name(piece) in own)
        ]
        names = [*mine, *(name for name in done.to_come if name in own)]
        if not names:
            # What was woven for it there went to other lines, and is their cost.
            continue
        planned.append((str(warp), of_pieces(done.planned, own, called=OF_LINE % {"line": line})))
        actual.append((str(warp), of_pieces(done.actual, names, called=OF_LINE % {"line": line})))
        notes |= dict.fromkeys(f"{warp}: {note}" for note in done.notes)
        n_woven, n_pieces = n_woven + len(mine), n_pieces + len(names)
    free = free_pieces([line])[line.pk] if line.state != OrderLine.CALLED_OFF else 0
    if free:
        alone = cost_alone(colourway=line.colourway, pieces=free, length_m=line.length_m)
        called = "On no warp yet"
        planned.append((called, alone.cost))
        actual.append((called, alone.cost))
        notes |= dict.fromkeys(f"{called}: {note}" for note in alone.notes)
        n_pieces += free
    if not planned or not actual:
        raise Refusal(
            N_("Line %(line)s is %(state)s and has no piece whose cost could be worked out."),
            line=line,
            state=Word(line.state),
        )
    return CostSheet(
        of=f"Line {line}",
        planned=together(planned),
        actual=together(actual),
        on=on,
        woven=n_woven,
        pieces=n_pieces,
        notes=tuple(notes),
    )


def _work_out(warp: Warp) -> _Worked:
    warp = for_working_out(Warp.objects.filter(pk=warp.pk)).get()
    worked = getattr(warp, "worked", None)
    if worked is None or not worked.figures:
        why = worked.trouble if worked and worked.trouble else Word(N_("it is being worked out."))
        raise Refusal(N_("%(warp)s has no figures to cost: %(why)s"), warp=warp, why=why)
    figures = from_json(worked.figures)
    mill = Mill.the_one()
    on = warp.woven_out_on or timezone.localdate()
    book = rates_on(on)
    loom, weaving_min, of_loom = _loom(warp, figures)
    set_up, minutes, told_by, of_set_up = _set_up(warp, figures, mill)
    steps = {target.name for run in figures.runs for target in run.targets}
    rates = book.facts(loom=loom, steps=steps)
    prices = prices_on(on, [need.code for need in (*figures.warp_yarns, *figures.weft_yarns)])
    job = planned_job(
        figures,
        name=str(warp),
        prices=prices,
        set_up=set_up,
        set_up_min=minutes,
        priced_steps=frozenset(rates.steps),
        mending_min_per_100_m=book.amount(Rate.MENDING_ALLOWED) or MENDING_NONE,
        weaving_min=weaving_min,
        said={
            "set_up_min": told_by,
            "weaving_min": f"{of_figures(str(warp))}, {OF_LOOM % {'loom': loom.code}}",
            "mending_min": ALLOWED,
        },
    )
    rows = _pieces(warp)
    actual, of_actual = _actual(warp, job, rows, rates, prices, on=on)
    as_on = RATES_WHEN_WOVEN_OUT if warp.woven_out_on else RATES_TODAY
    return _Worked(
        warp=warp,
        planned=work_out_cost(job, rates),
        actual=work_out_cost(actual, rates),
        book=book,
        woven=tuple(rows),
        planned_names=tuple(piece.name for piece in job.pieces),
        notes=(as_on % {"on": f"{on:%d.%m.%Y}", "warp": warp.number}, *of_loom, *of_set_up, *of_actual),
    )


def _loom(warp: Warp, figures: Figures) -> tuple[Loom, int | None, list[str]]:
    """The loom whose rate counts; with minutes where the figures know no loom."""
    loom = loom_of(warp)
    if loom is not None and figures.weaving_min is not None:
        return loom, None, []
    time = _fastest(figures)
    return time.loom, time.weaving_min, [NO_LOOM_YET % {"loom": time.loom}]


def _fastest(figures: Figures) -> LoomTime:
    looms = Loom.objects.filter(is_held=False).order_by("code")
    fitting, against = looms_for(figures, looms)
    if not fitting:
        raise Refusal(no_loom(against), field="loom")
    return fitting[0]


def _set_up(warp: Warp, figures: Figures, mill: Mill) -> tuple[str, int, str, list[str]]:
    """By the plan in force, else as the last ticket had it, else a full gait-up; minutes, and where they come from."""
    slot = slot_in_force(warp)
    # A plan that was made after it was gaited has no minutes for it any more; a ticket of before still has them.
    if slot and slot.setup_min:
        return slot.setup, slot.setup_min, BY_PLAN % {"set_up": slot.setup, "plan": slot.run_id}, []
    for number, extras in warp.tickets.order_by("-number").values_list("number", "extras"):
        if extras.get("setup_min"):
            return extras["setup"], extras["setup_min"], BY_TICKET % {"set_up": extras["setup"], "ticket": number}, []
    minutes = set_up_min(SetUp.GAIT_UP, ends=figures.ends, rates=set_up_rates(mill))
    return (
        SetUp.GAIT_UP,
        minutes,
        OF_THE_MILL % {"n": figures.ends},
        [NO_SET_UP_SAID],
    )


# As it goes


def _pieces(warp: Warp) -> list[Piece]:
    """What is woven of it, in the order of weaving."""
    rows = warp.woven_pieces.select_related("line", "spec").prefetch_related("mends", "steps", "spec__route_steps")
    return sorted(rows, key=lambda piece: (piece.cut is None, piece.cut or 0, piece.number))


def _actual(
    warp: Warp, job: WarpJob, rows: Sequence[Piece], rates: Rates, prices: Mapping[str, Stated], *, on: date
) -> tuple[WarpJob, list[str]]:
    """The warp as far as it has come, the rest as planned; and what had to be assumed."""
    notes: list[str] = []
    is_out = warp.state == Warp.WOVEN_OUT
    to_come = job.pieces[len(rows) :] if not is_out or not rows else ()
    if is_out and not rows:
        notes.append(NO_PIECE_WRITTEN)
    told = _minutes_told(warp)
    min_a_pick = Decimal(job.weaving_min) / (sum((piece.weaving for piece in job.pieces), start=Decimal(0)) or 1)
    pieces, told_min, untold_picks = [], 0, Decimal(0)
    for n, row in enumerate(rows):
        like = job.pieces[min(n, len(job.pieces) - 1)]
        times = row.grey_length_m / like.grey_m if row.grey_length_m > 0 else Decimal(1)
        picks = Decimal(row.picks) if row.picks is not None else like.weaving * times
        if row.number in told:
            told_min += told[row.number]
        else:
            untold_picks += picks
        pieces.append(_piece(row, like, times, Decimal(told.get(row.number, picks * min_a_pick)), rates))
    untold_picks += sum((piece.weaving for piece in to_come), start=Decimal(0))
    pieces += [_weighed(piece, piece.weaving * min_a_pick) for piece in to_come]
    if rows:
        untold = len(rows) - len(told)
        if untold:
            notes.append(NOBODY_TOLD % {"n": untold, "all": len(rows)})
        notes.append(NO_HOURS_TOLD)
    if to_come and rows:
        notes.append(TO_COME % {"n": len(to_come), "all": len(pieces)})
    yarns, of_yarn = _yarn(warp, job, prices, on=on)
    weaving = told_min + int((untold_picks * min_a_pick).to_integral_value(ROUND_HALF_UP))
    actual = WarpJob(
        name=job.name,
        yarns=tuple(yarns),
        warp_length_m=job.warp_length_m,
        thrums_m=job.thrums_m,
        warping_min=job.warping_min,
        set_up=job.set_up,
        set_up_min=job.set_up_min,
        weaving_min=weaving,
        pieces=tuple(pieces),
        said={
            **job.said,
            "weaving_min": TOLD % {"n": told_min} if rows else job.said["weaving_min"],
            "mending_min": MENDED,
            "grey": MEASURED if rows else job.said["grey"],
        },
    )
    return actual, [*notes, *of_yarn]


def _minutes_told(warp: Warp) -> dict[str, int]:
    """Working minutes of the loom on each piece, by its number: of those whose begin and end the floor told."""
    if warp.loom is None:
        return {}
    rows = list(woven.told_of(Warp.objects.filter(pk=warp.pk)))
    return {row.piece: row.spell.minutes for row in woven.spells(since=warp.made_at, warps=rows)}


def _weighed(piece: PieceJob, minutes: Decimal) -> PieceJob:
    return PieceJob(**{name: getattr(piece, name) for name in PieceJob.__slots__} | {"weaving": minutes})


def _piece(row: Piece, like: PieceJob, times: Decimal, minutes: Decimal, rates: Rates) -> PieceJob:
    """A woven piece as measured; what nobody has measured yet follows from its grey length as the plan has it."""
    grey_m = row.grey_length_m if row.grey_length_m > 0 else like.grey_m
    finished_m = row.finished_length_m or (like.finished_m * times).quantize(CENTIMETRE, ROUND_HALF_UP)
    finished_g = row.mass_g or int((like.finished_g * times).to_integral_value(ROUND_HALF_UP))
    is_done = row.state in (Piece.READY, Piece.SENT)
    return PieceJob(
        name=row.number,
        grey_m=grey_m,
        finished_m=finished_m,
        grey_g=int((like.grey_g * times).to_integral_value(ROUND_HALF_UP)),
        finished_g=finished_g,
        weaving=minutes,
        weft_g={code: grams * times for code, grams in like.weft_g.items()},
        passes=_passes(row, rates, is_done=is_done),
        mending_min=_mending(row, like.mending_min * times, is_done=is_done),
        is_second=row.verdict == Piece.SECOND if is_done else None,
    )


def _passes(row: Piece, rates: Rates, *, is_done: bool) -> Counter[str]:
    """Steps it has gone through, every round of them, and those still before it; of looking and mending one round."""
    names = {step.position: step.name for step in row.spec.route_steps.all()}
    passes = Counter(name for name in names.values() if is_at_the_perch(name) and name in rates.steps)
    batches = [name for name in names.values() if not is_at_the_perch(name)]
    taken = list(row.steps.all())
    if not taken and is_done:
        # No batch of it was ever told: it has been through its route all the same.
        return passes + Counter(batches)
    for step in taken:
        if name := names.get(step.step_position):
            passes[name] += 1
    if not is_done:
        through = {step.step_position for step in taken if step.round == row.round}
        for position, name in names.items():
            if position >= row.round_from and position not in through and name in batches:
                passes[name] += 1
    return passes


def _mending(row: Piece, allowed_min: Decimal, *, is_done: bool) -> Decimal:
    """Minutes mended, or asked for if more; before anybody has looked at it, what the mill reckons with."""
    mended = mended_min(row)
    if row.perched_on is None and not mended:
        return allowed_min
    return Decimal(mended if is_done else max(mended, row.mending_min))


def _yarn(warp: Warp, job: WarpJob, prices: Mapping[str, Stated], *, on: date) -> tuple[list[YarnUsed], list[str]]:
    """What was drawn and did not come back, and what is held, at its lots' prices; what is neither, as listed."""
    holds = list(
        warp.holds.select_related("yarn", "reservation__lot__delivery").prefetch_related("reservation__movements")
    )
    if warp.state == Warp.WOVEN_OUT and not holds:
        return list(job.yarns), [NO_LOT_DRAWN]
    of_lots = prices_of_lots({hold.reservation.lot_id: hold.reservation.lot for hold in holds}.values(), day=on)
    out = dict(
        Reservation.objects.filter(pk__in=[hold.reservation_id for hold in holds]).with_out().values_list("pk", "out_g")
    )
    used: dict[tuple[str, str, str], YarnUsed] = {}
    spent: dict[tuple[str, str], int] = {}
    for hold in holds:
        lot = hold.reservation.lot
        grams = max(0, out[hold.reservation_id])
        if warp.state != Warp.WOVEN_OUT:
            grams += max(0, sum(line.held_change_g for line in hold.reservation.movements.all()))
        if not grams:
            continue
        key = (hold.use, hold.yarn.code, lot.label)
        so_far = used[key].grams if key in used else 0
        used[key] = YarnUsed(
            hold.use,
            hold.yarn.code,
            so_far + grams,
            of_lots.get(lot.pk),
            lot=lot.label,
            said=DRAWN if warp.state == Warp.WOVEN_OUT else DRAWN_OR_HELD,
        )
        spent[hold.use, hold.yarn.code] = spent.get((hold.use, hold.yarn.code), 0) + grams
    for need in job.yarns:
        if need.use == WarpYarn.WARP and warp.state not in (Warp.PROPOSED, Warp.PLANNED):
            continue
        if need.use == WarpYarn.WEFT and warp.state == Warp.WOVEN_OUT:
            continue
        left_g = need.grams - spent.get((need.use, need.code), 0)
        if left_g > 0:
            used[need.use, need.code, ""] = YarnUsed(
                need.use, need.code, left_g, prices.get(need.code), said=STILL_WANTED
            )
    return list(used.values()), []


# What is not ordered yet


@dataclass(frozen=True)
class Alone:
    """Pieces of a cloth costed on warps of their own.

    warps     how many it takes
    shares    what each of them takes, on no loom yet
    """

    cost: Cost
    warps: int
    loom: Loom
    set_up: str
    notes: tuple[str, ...]
    on: date
    shares: tuple[Figures, ...]


def cost_alone(
    *,
    colourway: Colourway,
    pieces: int,
    length_m: Decimal,
    set_up: str = SetUp.GAIT_UP,
    loom: Loom | None = None,
) -> Alone:
    """What so many pieces cost on warps of their own, at today's rates.

    set_up    what the loom stands for before each of them
    loom      that weaves it; without one the fastest that takes it

    Raises Refusal when the cloth is not specified, fits no loom, or is too long for any beam.
    """
    mill = Mill.the_one()
    facts = mill_facts(mill)
    spec = promises.spec_of(colourway)
    shares = promises.shares_of(spec, colourway, pieces=pieces, length_m=length_m, mill=mill)
    loom = loom or _fastest(shares[0]).loom
    kind = SetUp(set_up)
    cloth = spec.as_cloth(colourway)
    today = timezone.localdate()
    book = rates_on(today)
    rates = book.facts(loom=loom, steps={step.name for step in cloth.route})
    prices = prices_on(today, [yarn.code for yarn in cloth.yarns.values()])
    parts = []
    for n, share in enumerate(shares, start=1):
        run = Run(
            line=f"Warp {n}" if len(shares) > 1 else THE_WARP,
            customer="",
            cloth=cloth,
            pieces=share.pieces,
            length_m=length_m,
        )
        figures = work_out([run], mill=facts, loom=loom.as_facts())
        job = planned_job(
            figures,
            name=run.line,
            prices=prices,
            set_up=kind,
            set_up_min=set_up_min(kind, ends=figures.ends, rates=set_up_rates(mill)),
            priced_steps=frozenset(rates.steps),
            mending_min_per_100_m=book.amount(Rate.MENDING_ALLOWED) or MENDING_NONE,
            said={
                "set_up_min": f"{OF_THE_MILL % {'n': figures.ends}}, {kind}",
                "weaving_min": f"{of_figures(run.line)}, {OF_LOOM % {'loom': loom.code}}",
                "mending_min": ALLOWED,
            },
        )
        parts.append((run.line, work_out_cost(job, rates)))
    return Alone(
        cost=together(parts),
        warps=len(parts),
        loom=loom,
        set_up=kind,
        notes=(
            AS_ON % {"on": f"{today:%d.%m.%Y}"},
            (ON_WARPS if len(parts) > 1 else ON_A_WARP) % {"n": len(parts), "set_up": kind, "loom": loom.code},
        ),
        on=today,
        shares=tuple(shares),
    )


def margin_pct() -> Decimal | None:
    """What the mill puts on a quote when nobody says otherwise, of the price."""
    return rates_on(timezone.localdate()).amount(Rate.MARGIN)
