"""What an order line takes, alone on a warp: metres, yarn, loom-hours, and the earliest day. Writes nothing."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import lru_cache

from django.utils import timezone
from django.utils.translation import gettext

from inventory import services as store
from inventory.draw import Choice, Lot, Need, choose, in_pieces
from inventory.models import Yarn
from mill.models import Mill
from mill.refusal import N_, Refusal, in_words
from mill.retold import Retold
from planning import finishing
from planning.gaiting import SetUp, set_up_min
from planning.loom import AGAINST, reasons_against, weaving_min
from planning.models import Closure, ClothSpec, Loom, mill_facts, set_up_rates
from planning.services import clock
from planning.services.orders import LineDraft
from planning.services.warps import current_specs
from planning.ticket import Figures, MillFacts, Run, RunFigures, YarnNeed, loom_needs, work_out
from planning.worktime import DAY_MIN, WEEK_MIN, Calendar, calendar_of

# No supplier is known, or none has said: the example mill's most common lead time. From memory.
LEAD_TIME_DAYS = 28
WEEKS_AHEAD = 78


@dataclass(frozen=True)
class LoomTime:
    loom: Loom
    weaving_min: int


@dataclass(frozen=True)
class YarnSupply:
    """A yarn that the line takes, and whether what is on hand and free suffices, lines before it served first."""

    need: YarnNeed
    choice: Choice

    @property
    def suffices(self) -> bool:
        return self.choice.is_met


@dataclass(frozen=True)
class LineFigures:
    """A line worked out alone on a warp.

    trouble        why it can't be woven, in sentences; the figures may stand beside it
    looms          that it fits, the fastest first
    earliest_on    when it could be ready if a loom stood free; None when it can't be said
    earliest_how   how that day comes about
    """

    figures: Figures | None = None
    trouble: str = ""
    looms: tuple[LoomTime, ...] = ()
    yarns: tuple[YarnSupply, ...] = ()
    earliest_on: date | None = None
    earliest_how: str = ""

    @property
    def run(self) -> RunFigures | None:
        return self.figures.runs[0] if self.figures else None

    @property
    def loom_length_m(self) -> Decimal | None:
        """All its pieces off the loom."""
        return self.run.pieces * self.run.grey_length_m if self.run else None

    @property
    def least_min(self) -> int | None:
        return self.looms[0].weaving_min if self.looms else None

    @property
    def most_min(self) -> int | None:
        return self.looms[-1].weaving_min if self.looms else None


@lru_cache(maxsize=2_000)
def alone(run: Run, mill: MillFacts) -> Figures:
    """One line on a warp of its own; kept, since lists and forms ask for the same ones again and again."""
    return work_out([run], mill=mill)


def run_of_draft(draft: LineDraft, spec: ClothSpec) -> Run:
    return Run("", "", spec.as_cloth(draft.colourway), draft.pieces, draft.length_m)


def what_lines_take(drafts: Sequence[LineDraft | None], *, now: datetime | None = None) -> list[LineFigures | None]:
    """Figures of each line, None for one that isn't whole yet; a constant number of queries.

    Lines share what is in the store: a line is served before those below it.
    """
    specs = current_specs(draft.cloth.pk for draft in drafts if draft)
    there = _There(now or timezone.now())
    worked = [_work_out(draft, specs, there) if draft else None for draft in drafts]
    codes = {need.code for one in worked if one and one.figures for need in _needs(one.figures)}
    yarns = {yarn.code: yarn for yarn in Yarn.objects.filter(code__in=codes)}
    lots = {lot.pk: lot for lot in store.lots_to_draw(yarn.pk for yarn in yarns.values())}
    ahead = store.ahead_of([yarn.pk for yarn in yarns.values()])
    found: list[LineFigures | None] = []
    for draft, one in zip(drafts, worked, strict=True):
        if one is None or draft is None or one.figures is None:
            found.append(one)
            continue
        supplies = _supplies(one.figures, yarns, lots, useful_g=there.mill.useful_remainder_g)
        days = {
            supply.need.code: _comes_on(supply, ahead[yarns[supply.need.code].pk], there)
            for supply in supplies
            if not supply.suffices
        }
        spec = specs[draft.cloth.pk]
        found.append(_with_earliest(replace(one, yarns=supplies), days, spec.finishing_days, there))
    return found


class _There:
    """Looms and hours as they stand, read once."""

    def __init__(self, now: datetime) -> None:
        self.mill = Mill.the_one()
        self.facts = mill_facts(self.mill)
        self.looms = list(Loom.objects.filter(is_held=False).select_related("shift_pattern").order_by("code"))
        self.closures = list(Closure.objects.all())
        self.epoch = clock.monday_before(now)
        self.now_min = clock.to_minute(now, epoch=self.epoch)
        self.today = timezone.localdate(now)
        self._calendars: dict[str, Calendar] = {}

    def calendar(self, hours: str, loom: Loom | None = None) -> Calendar:
        key = f"{hours} {loom.pk if loom else ''}"
        if key not in self._calendars:
            week = clock.mill_hours(hours, self.closures, epoch=self.epoch)
            closed = clock.loom_closed(loom, self.closures, epoch=self.epoch) if loom else ()
            self._calendars[key] = calendar_of(week.weekly, (*week.closed, *closed), WEEKS_AHEAD * WEEK_MIN)
        return self._calendars[key]


def _work_out(draft: LineDraft, specs: dict[int, ClothSpec], there: _There) -> LineFigures:
    spec = specs.get(draft.cloth.pk)
    if spec is None:
        return LineFigures(
            trouble=in_words(N_("%(cloth)s has never been specified. Write its first revision."), cloth=draft.cloth)
        )
    try:
        figures = alone(run_of_draft(draft, spec), there.facts)
    except Refusal as refusal:
        return LineFigures(trouble=refusal.message)
    looms, against = looms_for(figures, there.looms)
    trouble = "" if looms else no_loom(against)
    return LineFigures(figures=figures, trouble=trouble, looms=looms)


def looms_for(figures: Figures, looms: Iterable[Loom]) -> tuple[tuple[LoomTime, ...], dict[str, list[str]]]:
    """Looms that could weave it, the fastest first; and of the others, what stands against each."""
    needs = loom_needs(figures)
    fitting: list[LoomTime] = []
    against: dict[str, list[str]] = {}
    for loom in looms:
        reasons = reasons_against(needs, loom.as_facts())
        if reasons:
            against[loom.code] = reasons
        else:
            minutes = weaving_min(picks=figures.picks, ppm=loom.ppm, efficiency_pct=loom.efficiency_pct)
            fitting.append(LoomTime(loom, minutes))
    return tuple(sorted(fitting, key=lambda time: (time.weaving_min, time.loom.code))), against


def no_loom(against: dict[str, list[str]]) -> str:
    """In a sentence, that no loom takes it, with the loom that comes nearest."""
    if not against:
        return Refusal(N_("There is no loom that is not held. Enter one, or let one go.")).message
    code, reasons = min(against.items(), key=lambda item: (len(item[1]), item[0]))
    return in_words(
        N_("No loom of %(n)s takes it; the nearest is %(loom)s: %(why)s."),
        n=len(against),
        loom=code,
        why=Retold("; ".join(reasons), AGAINST),
    )


# Yarn


def _needs(figures: Figures) -> list[YarnNeed]:
    return [*figures.warp_yarns, *figures.weft_yarns]


def _supplies(
    figures: Figures, yarns: dict[str, Yarn], lots: dict[int, Lot], *, useful_g: int
) -> tuple[YarnSupply, ...]:
    """What each yarn of the line would be taken from; `lots` lose what is taken."""
    run = figures.runs[0]
    found = []
    for need in _needs(figures):
        asked = Need(
            yarn=yarns[need.code].pk,
            grams=need.issue_g,
            use=need.use,  # type: ignore[arg-type]
            label=gettext("The warp") if need.use == "warp" else gettext("The weft"),
            pieces_g=in_pieces(need.issue_g, run.pieces) if need.use == "weft" else (),
        )
        choice = choose(asked, lots.values(), useful_g=useful_g)
        for take in choice.takes:
            lots[take.lot.pk] = replace(lots[take.lot.pk], free_g=lots[take.lot.pk].free_g - take.grams)
        found.append(YarnSupply(need, choice))
    return tuple(found)


def _comes_on(supply: YarnSupply, ahead: store.Ahead, there: _There) -> date:
    """The day on which what is short has come: by deliveries that are promised, else by an order placed today."""
    short_g = supply.choice.short_g
    for on, grams, _ in ahead.deliveries:
        short_g -= grams
        if short_g <= 0:
            return max(on, there.today)
    return there.today + timedelta(days=ahead.lead_time_days or LEAD_TIME_DAYS)


# The earliest day


def _with_earliest(line: LineFigures, comes: dict[str, date], finishing_days: int, there: _There) -> LineFigures:
    """The earliest day, were a loom free when the warp is wound: a full gait-up by the tuners, then weaving."""
    figures = line.figures
    if figures is None or not line.looms:
        return line
    yarn_on = max(comes.values(), default=there.today)
    at = max(there.now_min, clock.day_start(yarn_on, epoch=there.epoch) + (DAY_MIN if comes else 0))
    rates = set_up_rates(there.mill)
    try:
        wound = there.calendar(there.mill.warping_hours).add_minutes(at, figures.warping_min)[1]
        setup = set_up_min(SetUp.GAIT_UP, ends=figures.ends, rates=rates)
        gaited = there.calendar(there.mill.tuner_hours).add_minutes(wound, setup)[1]
        ends = [
            there.calendar(time.loom.shift_pattern.hours, time.loom).add_minutes(gaited, time.weaving_min)[1]
            for time in line.looms
        ]
    except Refusal as refusal:
        return replace(line, earliest_how=refusal.message)
    # Of looms that are done in the same minute the first: they stand by their minutes, then by their code.
    off, time = min(zip(ends, line.looms, strict=True), key=lambda pair: pair[0])
    off_on = _day(off, there)
    ready_on = finishing.ready_on(off_on, finishing_days)
    waits = N_(
        "If loom %(loom)s stood free: yarn %(yarn)s comes %(comes)s, wound %(wound)s, woven %(woven)s, %(days)s working"
        " days to finish."
    )
    is_here = N_(
        "If loom %(loom)s stood free: its yarn is here, wound %(wound)s, woven %(woven)s, %(days)s working days to"
        " finish."
    )
    how = in_words(
        waits if comes else is_here,
        loom=time.loom,
        yarn=gettext(" and ").join(sorted(comes)),
        comes=f"{yarn_on:%d.%m.%Y}",
        wound=f"{_day(wound, there):%d.%m.%Y}",
        woven=f"{off_on:%d.%m.%Y}",
        days=finishing_days,
    )
    return replace(line, earliest_on=ready_on, earliest_how=how)


def _day(minute: int, there: _There) -> date:
    """The day whose shift the minute ends; midnight belongs to the day before it."""
    return timezone.localdate(clock.to_moment(max(0, minute - 1), epoch=there.epoch))


def by_use(yarns: Iterable[YarnSupply]) -> dict[str, list[YarnSupply]]:
    found: dict[str, list[YarnSupply]] = defaultdict(list)
    for supply in yarns:
        found[supply.need.use].append(supply)
    return dict(found)
