"""Candlebeck's half year: warps woven out, their pieces measured, their orders sent."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from math import ceil
from random import Random

from simple_history.utils import bulk_create_with_history

from mill import jobs
from mill.candlebeck import sent
from mill.candlebeck.cloths import Weave, facts_of_the_mill
from mill.candlebeck.orders import a_line, thrown, write_orders
from mill.candlebeck.story import DAYS_OF_PAST, FLOOR_FROM, Story, clock_at
from mill.models import Mill
from planning.beam import smallest_beam
from planning.loom import reasons_against, weaving_min
from planning.models import Beam, ClothSpec, Loom, OrderLine, Piece, PieceFault, Warp, WarpPart
from planning.services import working_out
from planning.services.line_states import STAGES
from planning.ticket import ClothFigures, Figures, RunFigures, from_json, loom_needs
from planning.worktime import read_week

PIECES = 400
LINES_A_WARP = (1, 1, 2, 2, 3)
# What measured pieces lose otherwise than their route says, percent of the grey measure: mean and spread.
SPREAD_PCT = 0.8
SPREADS_PCT = {"FUL": 2.1, "BLA": 1.5, "SUI": 0.4, "STR": 0.4}
# By the end of the half year it has come to so much more; and FLI lost less from the day the scouring changed.
DRIFTS_PCT = {"HIL": 1.9, "FUL": 1.6}
SCOURING_CHANGED_AGO = 130
FAULTS = ("Mended at 12 m.", "Oil spot cut out.", "Barred for the first metre.", "Narrow at the tail end.")


@dataclass
class PastWarp:
    """A warp on its way through the half year, before it is written."""

    weave: Weave
    spec: ClothSpec
    lines: list[OrderLine]
    figures: Figures
    picks: int
    out_on: date
    begun_on: date = field(default=date.min)
    loom: Loom | None = None

    @property
    def drawn_on(self) -> date:
        """Its yarn leaves the store, is warped, and hangs in the loom a few days later."""
        return self.begun_on - timedelta(days=4 if self.begun_on.weekday() > 2 else 6)


def live_through(story: Story, weaves: Sequence[Weave]) -> tuple[int, list[tuple[Warp, PastWarp]]]:
    """Write it. Returns the next order number, and every warp with what it was."""
    dice = story.dice("past")
    warps = _thrown(story, dice, weaves)
    _on_looms(story, dice, warps)
    warps.sort(key=lambda warp: (warp.out_on, warp.begun_on))
    next_number = write_orders(story, dice, [line for warp in warps for line in warp.lines], first_number=2001)
    written = _write_warps(story, warps)
    with clock_at(story.on, 0, 1):
        working_out.warps_changed(warp.pk for warp, _ in written)
        jobs.settle()
    _write_pieces(story, written)
    return next_number, written


def _thrown(story: Story, dice: Random, weaves: Sequence[Weave]) -> list[PastWarp]:
    """Warps with lines on them until there are so many pieces, each out on some workday."""
    facts, left = facts_of_the_mill(), PIECES * story.size
    warps: list[PastWarp] = []
    while left:
        weave = thrown(dice, weaves)
        out_on = story.workday(dice.randint(FLOOR_FROM + 2, DAYS_OF_PAST))
        spec = weave.spec_on(out_on - timedelta(days=25))
        lines: list[OrderLine] = []
        for _ in range(dice.choice(LINES_A_WARP)):
            if not left:
                break
            due_on = out_on + timedelta(days=spec.finishing_days * 7 // 5 + dice.randint(-3, 16))
            line = a_line(dice, weave, due_on=due_on, state=OrderLine.SENT)
            line.pieces = min(line.pieces, left)
            left -= line.pieces
            lines.append(line)
        alone = [weave.figures(spec, pieces=line.pieces, length_m=line.length_m, facts=facts) for line in lines]
        picks = sum(figures.picks for figures in alone)
        warps.append(PastWarp(weave, spec, lines, alone[0], picks, out_on))
    return warps


def _on_looms(story: Story, dice: Random, warps: list[PastWarp]) -> None:
    """A loom that takes each of them and stands free, as far as one does; narrow cloths go to narrow looms first."""
    looms = list(Loom.objects.select_related("shift_pattern").order_by("pk"))
    facts = {loom.pk: loom.as_facts() for loom in looms}
    hours_a_day = {
        loom.pk: sum(stop - start for start, stop in read_week(loom.shift_pattern.hours)) / 60 / 5 for loom in looms
    }
    fits: dict[tuple[str, int], list[Loom]] = {}
    free_on: dict[int, date] = defaultdict(lambda: date.min)
    for warp in sorted(warps, key=lambda warp: warp.out_on):
        key = (warp.weave.recipe.code, warp.spec.pk)
        if key not in fits:
            fits[key] = [loom for loom in looms if not reasons_against(loom_needs(warp.figures), facts[loom.pk])]
        days = {}
        for loom in fits[key]:
            minutes = weaving_min(picks=warp.picks, ppm=loom.ppm, efficiency_pct=loom.efficiency_pct)
            days[loom.pk] = ceil((minutes / 60 + 6) / hours_a_day[loom.pk] * 7 / 5)
        begins = {loom.pk: warp.out_on - timedelta(days=days[loom.pk]) for loom in fits[key]}
        free = [loom for loom in fits[key] if free_on[loom.pk] < begins[loom.pk]] or fits[key]
        narrow = min(loom.reed_space_cm for loom in free)
        weights = [4.0 if loom.reed_space_cm < narrow + 40 else 1.0 for loom in free]
        warp.loom = dice.choices(free, weights)[0]
        warp.begun_on = begins[warp.loom.pk]
        free_on[warp.loom.pk] = warp.out_on


def _write_warps(story: Story, past: list[PastWarp]) -> list[tuple[Warp, PastWarp]]:
    beams = {beam.code: beam for beam in Beam.objects.all()}
    facts = [beam.as_facts() for beam in beams.values()]
    density = Mill.the_one().beam_density_kg_per_m3
    rows: list[Warp] = []
    for number, warp in enumerate(past, start=1):
        assert warp.loom is not None
        figures = warp.figures
        pieces = sum(line.pieces for line in warp.lines)
        # A little more than its yarn, so that it is sure to fit whatever the roundings.
        yarn_kg = Decimal(figures.sized_warp_g) * pieces / figures.pieces / 1000 * Decimal("1.02")
        beam = smallest_beam(
            facts,
            yarn_kg=yarn_kg,
            density_kg_per_m3=density,
            warp_width_cm=figures.cloth.reed_width_cm,
            max_flange_mm=warp.loom.max_flange_mm,
        )
        rows.append(
            Warp(
                number=number,
                state=Warp.WOVEN_OUT,
                beam=beams[beam.code],
                loom=warp.loom,
                woven_out_on=warp.out_on,
            )
        )
    bulk_create_with_history(rows, Warp, batch_size=200, default_user=story.by)
    parts = []
    for row, warp in zip(rows, past, strict=True):
        with clock_at(warp.drawn_on - timedelta(days=5)) as made_at:
            Warp.objects.filter(pk=row.pk).update(made_at=made_at)
        parts += [
            WarpPart(warp=row, position=position, line=line, spec=warp.spec, pieces=line.pieces)
            for position, line in enumerate(warp.lines, start=1)
        ]
    WarpPart.objects.bulk_create(parts, batch_size=500)
    return list(zip(rows, past, strict=True))


# Pieces


def _write_pieces(story: Story, written: Sequence[tuple[Warp, PastWarp]]) -> None:
    perch = _Perch(story, story.dice("pieces"))
    rows = Warp.objects.filter(pk__in=[row.pk for row, _ in written]).select_related("worked")
    figures = {row.pk: from_json(row.worked.figures or {}) for row in rows}
    pieces: list[Piece] = []
    left: list[tuple[Piece, date]] = []
    for row, past in written:
        of_warp = figures[row.pk]
        row.picks_woven = of_warp.picks
        days, n = max(1, (past.out_on - past.begun_on).days), 0
        for line, run in zip(past.lines, of_warp.runs, strict=True):
            for _ in range(line.pieces):
                n += 1
                woven_on = past.begun_on + timedelta(days=ceil(days * n / of_warp.pieces))
                piece = Piece(spec=past.spec, warp=row, line=line, woven_on=woven_on)
                sent_on = perch.measure(piece, past, run, of_warp.cloth)
                pieces.append(piece)
                if sent_on:
                    left.append((piece, sent_on))
    pieces.sort(key=lambda piece: (piece.woven_on, piece.warp_id or 0))
    for n, piece in enumerate(pieces, start=1):
        piece.number = piece_number(piece.woven_on, n)
    faults = sent.pass_or_second(story, pieces)
    bulk_create_with_history(pieces, Piece, batch_size=500, default_user=story.by)
    Warp.objects.bulk_update([row for row, _ in written], ["picks_woven"], batch_size=200)
    PieceFault.objects.bulk_create(faults, batch_size=500)
    sent.write_dispatches(story, left)
    _lines_follow(pieces)


def piece_number(woven_on: date, n: int) -> str:
    return f"{woven_on:%y}-{n:04d}"


@dataclass
class _Perch:
    """Where pieces are measured, grey and finished."""

    story: Story
    dice: Random

    def measure(self, piece: Piece, past: PastWarp, run: RunFigures, cloth: ClothFigures) -> date | None:
        """As it left the loom; and as it left the last perch, when it has by now. Returns the day on which it is sent,
        if that has come."""
        assert piece.line is not None
        dice, line = self.dice, piece.line
        piece.grey_length_m = near(run.grey_length_m * times(dice, 0.006), "0.01")
        piece.grey_width_cm = near(cloth.grey_width_cm * times(dice, 0.004), "0.1")
        finishing = timedelta(days=past.spec.finishing_days * 7 // 5)
        ready_on = past.out_on + finishing + timedelta(days=dice.randint(-2, 3))
        ready_to_go_on = ready_on + timedelta(days=1)
        sent_on = sent.on_a_workday(
            max(ready_to_go_on, line.due_on - timedelta(days=dice.randint(0, 4))), not_before=ready_to_go_on
        )
        if ready_on >= self.story.on:
            begun = past.out_on + finishing / 4
            piece.state = Piece.FINISHING if begun < self.story.on else Piece.GREY
            return None
        code = past.weave.recipe.code
        spread = SPREADS_PCT.get(code, SPREAD_PCT)
        length_pct = float(cloth.length_shrink_pct) + dice.gauss(_drift_pct(self.story, code, piece.woven_on), spread)
        width_pct = float(cloth.width_shrink_pct) + dice.gauss(0, spread * 0.8)
        piece.state = Piece.SENT if sent_on < self.story.on else Piece.READY
        piece.finished_on = ready_on
        piece.finished_length_m = near(piece.grey_length_m * _left(length_pct), "0.01")
        piece.finished_width_cm = near(piece.grey_width_cm * _left(width_pct), "0.1")
        piece.mass_g = round(run.finished_piece_g * piece.finished_length_m / line.length_m * times(dice, 0.012))
        faults = 25 if dice.random() < 0.03 else 0
        piece.points = max(0, round(dice.gauss(float(line.length_m) * 0.17, 4))) + faults
        if dice.random() < 0.05:
            piece.note = dice.choice(FAULTS)
        return sent_on if piece.state == Piece.SENT else None


def _drift_pct(story: Story, code: str, woven_on: date) -> float:
    if code == "FLI":
        # The route took it for less only weeks after the scouring had changed.
        days_ago = (story.on - woven_on).days
        return -2.0 if 75 < days_ago < SCOURING_CHANGED_AGO else 0.0
    through = 1 - (story.on - woven_on).days / DAYS_OF_PAST
    return DRIFTS_PCT.get(code, 0.0) * max(0.0, through)


def times(dice: Random, spread: float) -> Decimal:
    """A factor near 1, in whole ten-thousandths."""
    return Decimal(round(dice.gauss(1, spread) * 10_000)) / 10_000


def _left(pct: float) -> Decimal:
    return 1 - Decimal(round(pct * 100)) / 10_000


def near(value: Decimal, step: str) -> Decimal:
    return value.quantize(Decimal(step), rounding=ROUND_HALF_UP)


def _lines_follow(pieces: Sequence[Piece]) -> None:
    """Each line stands where its hindmost piece does."""
    stages: dict[int, set[str]] = defaultdict(set)
    for piece in pieces:
        stages[piece.line_id or 0].add(piece.state)
    by_state: dict[str, list[int]] = defaultdict(list)
    for line_id, states in stages.items():
        by_state[min(states, key=STAGES.index)].append(line_id)
    for state, line_ids in by_state.items():
        if state != OrderLine.SENT:
            OrderLine.objects.filter(pk__in=line_ids).update(state=state)
