"""Open order lines into warps: what is proposed for those that share a warp specification, and its acceptance.

Proposals are worked out when they are looked at and stand nowhere; only what is accepted is written.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import ROUND_FLOOR, Decimal
from functools import lru_cache
from statistics import median_low
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext

from inventory import services as store
from inventory.models import Yarn
from mill.refusal import N_, Refusal, in_words
from mill.working import Step
from planning import combining, finishing
from planning.cloth import Cloth
from planning.combining import Combination, Line, Part, Proposal, Rules, Saving, SetUpMinutes
from planning.gaiting import SetUp, set_up_min
from planning.models import Loom, OrderLine, Ruling, Warp, WarpPart, mill_facts, set_up_rates
from planning.services import rulings
from planning.services import warps as warp_verbs
from planning.services.beams import BeamStand
from planning.services.line_figures import alone, looms_for, no_loom
from planning.services.line_states import free_pieces
from planning.services.warps import Share, current_specs, spec_for
from planning.ticket import Figures, Run
from planning.worktime import DAY_MIN, WEEK_MIN, read_week

TRIES = 5
# A page waits for it: a second at most for lines that a dive alone doesn't prove.
STEPS = 250_000


@dataclass(frozen=True)
class Wishes:
    """What a planner may set for a look at the proposals; None is the mill's own figure.

    keeps_to_dye_lots    no warp longer than the largest dye lot on hand winds, where that holds every line whole
    includes_planned     warps that are only planned are combined afresh too
    """

    min_warp_m: Decimal | None = None
    max_warp_m: Decimal | None = None
    due_spread_days: int | None = None
    min_per_kg: int = combining.MIN_PER_KG
    min_per_late_day: int = combining.MIN_PER_LATE_DAY
    split_min: int = combining.SPLIT_MIN
    keeps_to_dye_lots: bool = True
    includes_planned: bool = False


@dataclass(frozen=True)
class Waiting:
    """An order line with pieces that wait for a warp, worked out.

    figures    of those pieces alone on a warp
    on         a planned warp that some of the pieces are on, when such warps are combined afresh
    """

    line: OrderLine
    pieces: int
    figures: Figures
    finishing_days: int
    on: tuple[Warp, ...] = ()

    @property
    def piece_m(self) -> Decimal:
        return self.figures.runs[0].warp_length_per_piece_m

    @property
    def off_by(self) -> date:
        """The last day on which it may leave the loom."""
        return finishing.off_by(self.line.due_on, self.finishing_days)


@dataclass(frozen=True)
class Locked:
    """A warp that a planner has locked as it was proposed; without a proposal it no longer holds, and says why."""

    ruling: Ruling
    proposal: Proposal | None
    trouble: str = ""

    @property
    def said(self) -> str:
        return rulings.said_of(self.ruling)


@dataclass(frozen=True)
class KeptApart:
    """Lines of a warp that a planner has refused."""

    ruling: Ruling
    lines: tuple[OrderLine, ...]

    @property
    def said(self) -> str:
        return rulings.said_of(self.ruling)


@dataclass(frozen=True)
class Group:
    """Lines whose cloths have one warp, the rules their warps must keep, and what is proposed.

    combination     of what is not locked
    longest_why     what limits the length: a beam, or a dye lot
    set_up          what one more warp takes
    refused         lines that can't be on any warp, with the sentence
    trouble         why nothing can be proposed at all
    """

    warp_key: str
    lines: tuple[Waiting, ...]
    rules: Rules | None = None
    combination: Combination | None = None
    longest_why: str = ""
    set_up: SetUpMinutes | None = None
    locked: tuple[Locked, ...] = ()
    kept_apart: tuple[KeptApart, ...] = ()
    refused: tuple[tuple[OrderLine, str], ...] = ()
    trouble: str = ""
    by_pk: Mapping[int, Waiting] = field(default_factory=dict)

    @property
    def figures(self) -> Figures:
        """Of its first line; every line has this warp."""
        return self.lines[0].figures

    @property
    def cloths(self) -> list[str]:
        return sorted({f"{one.line.cloth.code} {one.line.cloth.name}, {one.line.colourway.name}" for one in self.lines})

    @property
    def proposals(self) -> tuple[Proposal, ...]:
        """The locked warps that hold, then those proposed."""
        kept = [one.proposal for one in self.locked if one.proposal]
        return (*kept, *(self.combination.proposals if self.combination else ()))

    @property
    def saves(self) -> Saving | None:
        """Against one warp a line; locked warps against winding each of their parts apart."""
        if self.combination is None:
            return None
        return together([self.combination.saves, *(one.proposal.saves for one in self.locked if one.proposal)])

    @property
    def working(self) -> tuple[Step, ...]:
        """How the figures of what is proposed came about; none where nothing can be."""
        return self.worked(self.proposals, self.saves) if self.saves else ()

    def worked(self, proposals: Sequence[Proposal], saves: Saving) -> tuple[Step, ...]:
        assert self.rules is not None
        assert self.set_up is not None
        lines = room_lines(self.lines, self.rules)
        return combining.working(proposals, lines, self.rules, set_up=self.set_up, saves=saves)

    def lock_on(self, parts: Sequence[Part]) -> Locked | None:
        """The lock that these parts, all of them and no others, are under."""
        asked = sorted((part.key, part.pieces) for part in parts)
        return next((one for one in self.locked if sorted(rulings.parts_of(one.ruling)) == asked), None)

    def rework(self, parts: Sequence[Part]) -> Proposal:
        """One warp as a planner put it together. Raises Refusal where it breaks a rule, or a planner's word."""
        assert self.rules is not None
        lines = {pk: waiting.line for pk, waiting in self.by_pk.items()}
        rulings.check([[(part.key, part.pieces) for part in parts]], lines, [one.ruling for one in self.kept_apart])
        return combining.propose(parts, room_lines(self.lines, self.rules), self.rules)


def together(savings: Iterable[Saving]) -> Saving:
    savings = list(savings)
    return Saving(
        warps=sum(one.warps for one in savings),
        thrums_m=sum((one.thrums_m for one in savings), start=Decimal(0)),
        thrums_g=sum(one.thrums_g for one in savings),
        setup_min=sum(one.setup_min for one in savings),
        cost_min=sum((one.cost_min for one in savings), start=Decimal(0)),
    )


# Looking


def propose(wishes: Wishes | None = None, *, now: datetime | None = None) -> list[Group]:
    """Every line that waits for a warp, grouped by warp, with the warps proposed; earliest due first.

    A constant number of queries. Lines of cloths that can't be worked out come in a group with the trouble.
    """
    wishes = wishes or Wishes()
    there = _There(wishes, now or timezone.now())
    groups: dict[str, list[Waiting]] = defaultdict(list)
    troubled: list[Group] = []
    for line, pieces, on in _waiting(wishes):
        try:
            waiting = there.work_out(line, pieces, on)
        except Refusal as refusal:
            troubled.append(Group("", (), refused=((line, refusal.message),), trouble=refusal.message))
        else:
            groups[waiting.figures.warp_key].append(waiting)
    dye_lots = there.largest_dye_lots(one.figures for lines in groups.values() for one in lines)
    found = [there.group(key, lines, dye_lots) for key, lines in groups.items()]
    return [*sorted(found, key=lambda group: (group.lines[0].line.due_on, group.warp_key)), *troubled]


def _waiting(wishes: Wishes) -> list[tuple[OrderLine, int, tuple[Warp, ...]]]:
    lines = list(
        OrderLine.objects.open()
        .filter(state__in=[OrderLine.ENTERED, *([OrderLine.ON_A_WARP] if wishes.includes_planned else [])])
        .select_related("order__customer", "cloth", "colourway")
        .order_by("due_on", "pk")
    )
    free = free_pieces(lines)
    loose: dict[int, list[WarpPart]] = defaultdict(list)
    if wishes.includes_planned:
        for part in WarpPart.objects.filter(line__in=lines, warp__in=warp_verbs.loose_warps()).select_related("warp"):
            loose[part.line_id].append(part)
    found = []
    for line in lines:
        parts = loose[line.pk]
        pieces = free[line.pk] + sum(part.pieces for part in parts)
        if pieces:
            found.append((line, pieces, tuple(part.warp for part in parts)))
    return found


def room_lines(lines: Iterable[Waiting], rules: Rules) -> list[Line]:
    """As the room sees them. A line that is longer than the longest warp may be split, others stay whole."""
    return [
        Line(
            key=one.line.pk,
            pieces=one.pieces,
            piece_m=one.piece_m,
            due=one.off_by.toordinal(),
            weight=one.line.weight,
            may_split=one.pieces * (one.piece_m + rules.header_m) + rules.thrums_m > rules.max_warp_m,
        )
        for one in lines
    ]


@lru_cache(maxsize=256)
def _combined(lines: tuple[Line, ...], rules: Rules, apart: frozenset[frozenset[int]]) -> Combination:
    """Kept, since a page that is worked on asks again for groups in which nothing has changed."""
    return combining.combine(lines, rules, apart=apart, steps=STEPS)


class _There:
    """The mill as it stands, read once."""

    def __init__(self, wishes: Wishes, now: datetime) -> None:
        self.wishes = wishes
        self.today = timezone.localdate(now)
        self.stand = BeamStand()
        self.mill = self.stand.mill
        self.facts = mill_facts(self.mill)
        self.rates = set_up_rates(self.mill)
        self.looms = list(Loom.objects.select_related("shift_pattern").order_by("code"))
        self.cloths: dict[tuple[int, int], Cloth] = {}
        self.rulings = rulings.standing()
        self.specs = current_specs(OrderLine.objects.open().values_list("cloth", flat=True).order_by().distinct())

    def work_out(self, line: OrderLine, pieces: int, on: tuple[Warp, ...]) -> Waiting:
        spec = spec_for(line, self.specs)
        made = (spec.pk, line.colourway_id)
        if made not in self.cloths:
            self.cloths[made] = spec.as_cloth(line.colourway)
        figures = alone(Run("", "", self.cloths[made], pieces, line.length_m), self.facts)
        return Waiting(line, pieces, figures, spec.finishing_days, on)

    def largest_dye_lots(self, worked: Iterable[Figures]) -> dict[str, int]:
        """Of each warp yarn, the grams free of the dye lot with most: one query for the yarns, two for the lots."""
        codes = {need.code for figures in worked for need in figures.warp_yarns}
        by_pk = dict(Yarn.objects.filter(code__in=codes).values_list("pk", "code"))
        free: dict[tuple[str, str], int] = defaultdict(int)
        for lot in store.lots_to_draw(by_pk):
            if not lot.why_not:
                free[by_pk[int(lot.yarn)], lot.dye_lot] += lot.free_g
        largest: dict[str, int] = defaultdict(int)
        for (code, _), grams in free.items():
            largest[code] = max(largest[code], grams)
        return largest

    def group(self, key: str, lines: list[Waiting], dye_lots: Mapping[str, int]) -> Group:
        found = Group(key, tuple(lines), by_pk={one.line.pk: one for one in lines})
        try:
            set_up = self.set_up_of(lines[0].figures)
            rules, longest_why = self.rules(lines, dye_lots, set_up)
        except Refusal as refusal:
            return replace(found, trouble=refusal.message)
        locked = tuple(self.locked(found.by_pk, rules))
        left = {pk: one.pieces for pk, one in found.by_pk.items()}
        for lock in locked:
            for part in lock.proposal.parts if lock.proposal else ():
                left[part.key] -= part.pieces
        loose = [replace(one, pieces=left[one.line.pk]) for one in lines if left[one.line.pk]]
        kept_apart = tuple(
            KeptApart(ruling, tuple(part.line for part in ruling.parts.all()))
            for ruling in self.rulings
            if ruling.kind == Ruling.APART and sum(pk in found.by_pk for pk, _ in rulings.parts_of(ruling)) > 1
        )
        kept, refused = [], []
        for one, room_line in zip(loose, room_lines(loose, rules), strict=True):
            try:
                combining.check_line(room_line, rules)
            except Refusal as refusal:
                refused.append((one.line, refusal.message))
            else:
                kept.append(room_line)
        return replace(
            found,
            rules=rules,
            longest_why=longest_why,
            set_up=set_up,
            combination=_combined(tuple(kept), rules, frozenset(rulings.kept_apart(one.ruling for one in kept_apart))),
            locked=locked,
            kept_apart=kept_apart,
            refused=tuple(refused),
        )

    def locked(self, by_pk: Mapping[int, Waiting], rules: Rules) -> Iterable[Locked]:
        """The locks on lines of a group, each worked out as the lines stand now."""
        left = {pk: one.pieces for pk, one in by_pk.items()}
        for ruling in self.rulings:
            parts = ruling.parts.all()
            if ruling.kind != Ruling.TOGETHER or not any(part.line_id in by_pk for part in parts):
                continue
            gone = [str(part.line) for part in parts if part.pieces > left.get(part.line_id, 0)]
            if gone:
                no_more = gettext("%(line)s has not so many pieces any more that wait and have this warp")
                yield Locked(ruling, None, no_more % {"line": gone[0]})
                continue
            try:
                own = [Part(part.line_id, part.pieces) for part in parts]
                yield Locked(ruling, combining.propose(own, room_lines(by_pk.values(), rules), rules))
            except Refusal as refusal:
                yield Locked(ruling, None, refusal.message)
            else:
                for part in parts:
                    left[part.line_id] -= part.pieces

    def set_up_of(self, figures: Figures) -> SetUpMinutes:
        return SetUpMinutes(
            creel=self.mill.creel_load_min,
            sections=len(figures.sections),
            section_change=self.mill.section_change_min,
            doff=self.mill.doff_min,
            loom=set_up_min(SetUp.TIE_IN, ends=figures.ends, rates=self.rates),
        )

    def rules(self, lines: Sequence[Waiting], dye_lots: Mapping[str, int], set_up: SetUpMinutes) -> tuple[Rules, str]:
        figures, wishes = lines[0].figures, self.wishes
        fitting, against = looms_for(figures, self.looms)
        if not fitting:
            raise Refusal(no_loom(against))
        longest_m, why, is_by_lot = self._longest(lines, dye_lots)
        # A warp of this kind as it wears the mill: the middle loom of those that fit it.
        m_per_day = median_low(_woven_m_per_day(time.loom, one.figures) for one in lines for time in fitting)
        # A dye lot that winds less than the mill thinks worth winding is no reason to wind nothing.
        mills_min_m = min(self.mill.beam_min_m, longest_m) if is_by_lot else self.mill.beam_min_m
        min_m = mills_min_m if wishes.min_warp_m is None else wishes.min_warp_m
        spread = self.mill.due_spread_days if wishes.due_spread_days is None else wishes.due_spread_days
        return (
            Rules(
                max_warp_m=longest_m,
                min_warp_m=min_m,
                thrums_m=self.mill.thrums_m,
                header_m=self.mill.header_m,
                warp_g_per_m=Decimal(figures.warp_g) / figures.warp_length_m,
                due_spread_days=spread,
                starts=(self.today + timedelta(days=1)).toordinal(),
                woven_m_per_day=m_per_day,
                setup_min=set_up.together,
                min_per_kg=wishes.min_per_kg,
                min_per_late_day=wishes.min_per_late_day,
                split_min=wishes.split_min,
            ),
            why,
        )

    def _longest(self, lines: Sequence[Waiting], dye_lots: Mapping[str, int]) -> tuple[Decimal, str, bool]:
        """The longest warp, what keeps it from being longer, and whether that is a dye lot."""
        figures = lines[0].figures
        longest_m, why = self.stand.longest_m(figures), gettext("the largest beam that takes it")
        if self.wishes.max_warp_m is not None and self.wishes.max_warp_m < longest_m:
            longest_m, why = self.wishes.max_warp_m, gettext("as it was asked for")
        if self.wishes.keeps_to_dye_lots:
            by_yarn = {need.code: _metres_of(need, figures, dye_lots[need.code]) for need in figures.warp_yarns}
            code, metres = min(by_yarn.items(), key=lambda item: item[1])
            whole_m = max(one.pieces * (one.piece_m + self.mill.header_m) + self.mill.thrums_m for one in lines)
            if min(whole_m, longest_m) <= metres < longest_m:
                why = gettext("the largest dye lot of %(yarn)s on hand") % {"yarn": code}
                return metres, why, True
            if 0 < metres < longest_m:
                # Yarn must come for some of these lines as it is: what lies here doesn't tear them apart.
                winds = N_("the largest dye lot of %(yarn)s on hand winds %(metres)s m")
                why += f"; {in_words(winds, yarn=code, metres=metres)}"
        return longest_m, why, False


def _metres_of(need: Any, figures: Figures, free_g: int) -> Decimal:
    """Warp that so many grams of a yarn wind, waste taken off; 10 g are kept back for rounding."""
    g_per_m = Decimal(need.issue_g) / figures.warp_length_m
    return max(Decimal(0), (Decimal(free_g - 10) / g_per_m).quantize(Decimal("0.1"), ROUND_FLOOR))


def _woven_m_per_day(loom: Loom, figures: Figures) -> Decimal:
    """Warp that a loom weaves on an average day of the week."""
    run = figures.runs[0]
    open_min = sum(stop - start for start, stop in read_week(loom.shift_pattern.hours))
    picks_a_day = Decimal(loom.ppm) * loom.efficiency_pct / 100 * open_min * DAY_MIN / WEEK_MIN
    return max(
        Decimal("0.1"), (picks_a_day / run.picks_per_piece * run.warp_length_per_piece_m).quantize(Decimal("0.1"))
    )


# Accepting

WantedWarp = Sequence[tuple[int, int]]


def accept(wanted: Sequence[WantedWarp], *, by: Any, includes_planned: bool = False) -> list[Warp]:
    """Make these warps: all of them, or none. Each is (order line, pieces) pairs in the order of weaving.

    includes_planned    planned warps that pieces of these lines are on are taken apart first

    Asked for the same twice, it gives the warps that it made the first time. Raises Refusal when pieces are no
    longer free, when lines can't share a warp, and when no beam takes one.
    """
    for _ in range(TRIES):
        try:
            with transaction.atomic():
                return _accept([list(warp) for warp in wanted if warp], by=by, includes_planned=includes_planned)
        except IntegrityError as clash:
            # Somebody took a number in between. Anything else that is broken stays broken and is raised below.
            last = clash
    raise last


def _accept(wanted: list[list[tuple[int, int]]], *, by: Any, includes_planned: bool) -> list[Warp]:
    if not wanted:
        raise Refusal(N_("No warp is chosen. Tick those that you accept."))
    ids = {pk for warp in wanted for pk, _ in warp}
    loose = list(warp_verbs.loose_warps().filter(parts__line__in=ids).distinct()) if includes_planned else []
    if loose:
        warp_verbs.lock_warps(*(warp.pk for warp in loose), lines=ids)
    lines = {line.pk: line for line in warp_verbs.lock_lines(ids)}
    missing = ids - lines.keys()
    if missing:
        raise Refusal(
            N_("%(n)s of these order lines are not in the book any more. Look at the proposals again."), n=len(missing)
        )
    if made := _made_before(wanted, lines):
        return made
    rulings.check(wanted, lines, includes_planned=includes_planned)
    for warp in loose:
        warp_verbs.take_apart(warp, by=by)
    stand = BeamStand()
    new = [
        warp_verbs.make_warp([Share(lines[pk], pieces) for pk, pieces in warp], by=by, stand=stand) for warp in wanted
    ]
    rulings.made(wanted, by=by)
    return new


def _made_before(wanted: list[list[tuple[int, int]]], lines: Mapping[int, OrderLine]) -> list[Warp]:
    """The warps that are just these already: none of their lines has a piece left, and each is on one as asked for."""
    if any(free_pieces(lines.values()).values()):
        return []
    by_parts: dict[tuple[tuple[int, int], ...], Warp] = {}
    rows = WarpPart.objects.filter(warp__in=WarpPart.objects.filter(line__in=lines).values("warp"))
    on: dict[Warp, list[tuple[int, int]]] = defaultdict(list)
    for part in rows.select_related("warp").order_by("warp", "position"):
        on[part.warp].append((part.line_id, part.pieces))
    for warp, parts in on.items():
        if warp.state in warp_verbs.FOLLOWING:
            by_parts[tuple(parts)] = warp
    found = [by_parts.get(tuple(warp)) for warp in wanted]
    return [warp for warp in found if warp] if all(found) else []
