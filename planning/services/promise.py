"""What a customer can be told: the earliest safe date for a line that is on no warp yet, and what a jump would push."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import ROUND_CEILING, Decimal

from django.utils.translation import gettext as _

from inventory.models import Yarn
from mill.models import Mill
from mill.refusal import N_, Refusal
from mill.units import tidy
from planning import finishing
from planning import shed as shed_room
from planning.gaiting import SetUp, set_up_min
from planning.models import ClothSpec, Colourway, OrderLine, mill_facts, set_up_rates
from planning.promise import Place, first_places, safe_places
from planning.services import clock, plans, working_out
from planning.services.beams import BeamStand
from planning.services.cloths import latest_specs
from planning.services.explaining import day_name
from planning.services.retelling import listed, retold, said_list
from planning.services.standing import LEAD_DAYS, NO_FLANGE, Releases, Standing, Waiting, YarnNeed, let_go, standing
from planning.shed import PieceDue, Shed
from planning.shed_plan import Plan, time_plan
from planning.ticket import Figures, Run, work_out
from planning.worktime import DAY_MIN

# How a day comes about, and what it does not know of: said in English, as it is kept with a quote, and said again in
# the language of a page.
YARN_COMES = N_("The %(material)s comes %(day)s.")
BEAM_FREE = N_("A beam that takes it is free %(day)s.")
WOUND = N_("Wound by %(day)s, in its turn.")
ON_LOOM = N_("On loom %(loom)s after a %(setup)s from %(day_from)s, off %(day_off)s.")
FINISHED = N_("Finished in %(n)s working days, ready %(day)s.")
ONE_OF_SEVERAL = N_("Warp %(warp)s of %(n)s: %(link)s")
LINE_WAITS = N_("%(n)s order line is on no warp yet and not reckoned with: who is combined first is woven first.")
LINES_WAIT = N_("%(n)s order lines are on no warp yet and not reckoned with: who is combined first is woven first.")
NO_PLAN = N_("No plan is in force: the date is reckoned from warps taken by earliest due date.")
LEFT_OUT = N_("Not reckoned with, since no loom can be planned for it: %(warps)s.")
LINKS = (YARN_COMES, BEAM_FREE, WOUND, ON_LOOM, FINISHED)
CAUTIONS = (LINE_WAITS, LINES_WAIT, NO_PLAN, LEFT_OUT)

# A warp that is only thought of is late for nothing.
NEVER_DUE = clock.HORIZON_WEEKS * 7 * DAY_MIN


@dataclass(frozen=True)
class Push:
    """A warp that the jump would make late, or later: for whom, off the loom when instead of when."""

    warp: int
    customers: str
    off_on: date
    later_on: date
    days: int


@dataclass(frozen=True)
class Way:
    """One way to weave it: where, when it is off the loom and when it is ready, said link by link."""

    looms: tuple[str, ...]
    starts_on: date
    off_on: date
    ready_on: date
    chain: tuple[str, ...]
    pushes: tuple[Push, ...]

    @property
    def told(self) -> list[str]:
        """The chain in the language of the page."""
        return links_told(self.chain)


@dataclass(frozen=True)
class Promise:
    """safe_on can be told; `jump` is None where jumping the queue gains nothing.

    cautions    what the date does not know of
    days_over   how much later than the date wished for, 0 when in time, None when none was said
    """

    safe: Way
    jump: Way | None
    warps: int
    warp_length_m: Decimal
    days_over: int | None
    cautions: tuple[str, ...]

    @property
    def cautions_told(self) -> list[str]:
        """The cautions in the language of the page."""
        return cautions_told(self.cautions)

    @property
    def safe_on(self) -> date:
        return self.safe.ready_on


def links_told(chain: Iterable[str]) -> list[str]:
    """What was said of how a day comes about, in the language of the page."""
    return [_link_told(link) for link in chain]


def _link_told(link: str) -> str:
    if found := re.fullmatch(r"Warp (\d+) of (\d+): (.+)", link):
        return _(ONE_OF_SEVERAL) % {"warp": found[1], "n": found[2], "link": retold(_capital(found[3]), LINKS)}
    return retold(link, LINKS)


def cautions_told(cautions: Iterable[str]) -> list[str]:
    """What a day does not know of, in the language of the page."""
    return [retold(one, CAUTIONS) for one in cautions]


def promise(
    *,
    colourway: Colourway,
    pieces: int,
    length_m: Decimal,
    due_on: date | None = None,
    now: datetime | None = None,
    shares: Sequence[Figures] | None = None,
) -> Promise:
    """When so many pieces of a cloth can be ready, were they ordered now. Writes nothing.

    shares    the warps that it takes, from shares_of(), where they have been worked out already

    Raises Refusal when the cloth is not specified, can't be woven here, or is too long for any beam.
    """
    spec = spec_of(colourway)
    mill = Mill.the_one()
    if shares is None:
        shares = shares_of(spec, colourway, pieces=pieces, length_m=length_m, mill=mill)
    there = standing(now=now)
    # Behind every warp that waits for yarn and winding already; and the same before all of them.
    codes = [f"new {n}" for n in range(1, len(shares) + 1)]
    waiting = [_waiting(code, figures, there) for code, figures in zip(codes, shares, strict=True)]
    behind = there.upstream.releases((*there.order, *codes), more=waiting)
    plan = plans.carried_on(there)
    wanted = [
        let_go(_shed_warp(code, figures, spec, there, mill), behind)
        for code, figures in zip(codes, shares, strict=True)
    ]
    safe = _way(there, behind, wanted, safe_places(*_released(there, behind, plan), wanted), spec, plan)
    jump = _jump(there, wanted, waiting, spec, plan)
    return Promise(
        safe=safe,
        jump=jump if jump.ready_on < safe.ready_on else None,
        warps=len(shares),
        warp_length_m=sum((figures.warp_length_m for figures in shares), Decimal(0)),
        days_over=None if due_on is None else max((safe.ready_on - due_on).days, 0),
        cautions=tuple(_cautions(there)),
    )


def spec_of(colourway: Colourway) -> ClothSpec:
    spec = (
        latest_specs()
        .filter(cloth=colourway.cloth_id)
        .select_related("cloth")
        .prefetch_related("route_steps", "colourway_yarns__yarn")
        .first()
    )
    if spec is None:
        unspecified = N_("%(cloth)s has no specification yet. Write its first revision.")
        raise Refusal(unspecified, field="colourway", cloth=colourway.cloth)
    return spec


def shares_of(spec: ClothSpec, colourway: Colourway, *, pieces: int, length_m: Decimal, mill: Mill) -> list[Figures]:
    """The warps that it takes: one, or as few of like length as the largest beam asks for."""
    cloth, facts = spec.as_cloth(colourway), mill_facts(mill)

    def figures_of(count: int) -> Figures:
        run = Run(line="new", customer="", cloth=cloth, pieces=count, length_m=length_m)
        return work_out([run], mill=facts)

    whole = figures_of(pieces)
    stand = BeamStand()
    if not stand.beams:
        return [whole]
    longest_m = stand.longest_m(whole)
    warps = max(int((whole.warp_length_m / longest_m).to_integral_value(ROUND_CEILING)), 1) if longest_m else 1
    while True:
        counts = [pieces // warps + (n < pieces % warps) for n in range(warps)]
        shares = {count: figures_of(count) for count in set(counts) if count}
        if all(figures.warp_length_m <= longest_m for figures in shares.values()):
            return [shares[count] for count in counts if count]
        if warps >= pieces:
            one = figures_of(1)
            raise Refusal(
                N_(
                    "A piece of %(length)s m takes %(warp)s m of warp; the largest beam holds %(most)s m. Order shorter"
                    " pieces."
                ),
                field="length_m",
                length=tidy(length_m),
                warp=one.warp_length_m,
                most=longest_m,
            )
        warps += 1


def _waiting(code: str, figures: Figures, there: Standing) -> Waiting:
    needs = (*figures.warp_yarns, *figures.weft_yarns)
    yarns = {
        yarn.code: yarn
        for yarn in Yarn.objects.filter(code__in={need.code for need in needs}).select_related("supplier")
    }
    rows = []
    for need in needs:
        yarn = yarns[need.code]
        days = yarn.supplier.lead_time_days if yarn.supplier else LEAD_DAYS
        rows.append(YarnNeed(yarn.pk, yarn.code, need.use, need.issue_g, there.now_min + days * DAY_MIN))
    return Waiting(code, tuple(rows), figures.warping_min)


def _shed_warp(code: str, figures: Figures, spec: ClothSpec, there: Standing, mill: Mill) -> shed_room.Warp:
    """Not yet released: its yarn lets it go."""
    rates = set_up_rates(mill)
    return shed_room.Warp(
        id=code,
        family=figures.family_key,
        reed=f"{spec.reed_dents_per_10cm.normalize():f}",
        width_cm=figures.cloth.reed_width_cm,
        shafts=figures.cloth.shafts,
        jacquard=False,
        feeders=working_out.weft_colours(figures),
        flange_mm=NO_FLANGE,
        pieces=tuple(PieceDue(run.picks_per_piece, NEVER_DUE, 0) for run in figures.runs for _ in range(run.pieces)),
        release=0,
        wind_min=max(figures.warping_min, 1),
        beams=there.kinds.that_take(sized_warp_g=figures.sized_warp_g, reed_width_cm=figures.cloth.reed_width_cm),
        tie_min=set_up_min(SetUp.TIE_IN, ends=figures.ends, rates=rates),
        gait_min=set_up_min(SetUp.GAIT_UP, ends=figures.ends, rates=rates),
        draw_in_min=set_up_min(SetUp.DRAW_IN, ends=figures.ends, rates=rates),
        weft_change_min=set_up_min(SetUp.WEFT_CHANGE, ends=figures.ends, rates=rates),
        only_looms=there.taking_new,
    )


def _jump(
    there: Standing, wanted: Sequence[shed_room.Warp], waiting: Sequence[Waiting], spec: ClothSpec, plan: Plan
) -> Way:
    """Served with yarn first, wound first, woven first."""
    codes = [warp.id for warp in wanted]
    first = there.upstream.releases((*codes, *there.order), more=waiting)
    wanted = [let_go(warp, first) for warp in wanted]
    return _way(there, first, wanted, first_places(*_released(there, first, plan), wanted), spec, plan)


def _released(there: Standing, released: Releases, plan: Plan) -> tuple[Shed, Plan]:
    """The shed and its plan once yarn and warping serve the new warp too."""
    rows = tuple(let_go(row, released) for row in there.shed.warps)
    shed = replace(there.shed, warps=rows)
    return shed, time_plan(shed, plan.sequences)


def _way(
    there: Standing,
    released: Releases,
    wanted: Sequence[shed_room.Warp],
    places: Sequence[Place],
    spec: ClothSpec,
    plan: Plan,
) -> Way:
    """Places in words. Ends are read from the last plan: a later warp may have moved an earlier one's tuner."""
    timed = places[-1].plan
    ends = [timed.placements[warp.id] for warp in wanted]
    off = max(there.day_of(placed.end - 1).date() for placed in ends)
    ready = _working_day(finishing.ready_on(off, spec.finishing_days))
    chain: list[str] = []
    for number, (warp, placed) in enumerate(zip(wanted, ends, strict=True), start=1):
        own: list[str] = []
        comes = released.waits_for.get(warp.id)
        if comes:
            at = (released.warp_yarn if comes.startswith("warp") else released.weft_yarn)[warp.id]
            own.append(YARN_COMES % {"material": comes, "day": _day(there, at)})
        assert placed.winding is not None
        if placed.winding.given_at > placed.winding.asked_at:
            own.append(BEAM_FREE % {"day": _day(there, placed.winding.given_at)})
        own.append(WOUND % {"day": _day(there, placed.winding.stops_at)})
        days = {"day_from": _day(there, placed.start), "day_off": _day(there, placed.end - 1)}
        own.append(ON_LOOM % {"loom": placed.loom, "setup": placed.setup.kind, **days})
        several = {"warp": number, "n": len(wanted)}
        chain += own if len(wanted) == 1 else [ONE_OF_SEVERAL % {**several, "link": _small(link)} for link in own]
    chain.append(FINISHED % {"n": spec.finishing_days, "day": day_name(ready)})
    return Way(
        looms=tuple(dict.fromkeys(placed.loom for placed in ends)),
        starts_on=min(there.day_of(placed.start).date() for placed in ends),
        off_on=off,
        ready_on=ready,
        chain=tuple(chain),
        pushes=tuple(_pushes(there, plan, timed)),
    )


def _working_day(day: date) -> date:
    """Nobody is promised cloth for a weekend."""
    return day + timedelta(days=7 - day.weekday() if day.weekday() > 4 else 0)


def _small(text: str) -> str:
    return f"{text[:1].lower()}{text[1:]}"


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _day(there: Standing, minute: int) -> str:
    return day_name(there.day_of(minute).date())


def _pushes(there: Standing, before: Plan, after: Plan) -> Iterable[Push]:
    for code, was in before.placements.items():
        now = after.placements[code]
        if now.weighted_tardy_min > was.weighted_tardy_min:
            warp = there.warps[code]
            names = dict.fromkeys(part.line.order.customer.name for part in warp.parts.all())
            off_on, later_on = (there.day_of(end - 1).date() for end in (was.end, now.end))
            yield Push(warp.number, said_list(list(names)), off_on, later_on, (later_on - off_on).days)


def _cautions(there: Standing) -> Iterable[str]:
    others = OrderLine.objects.not_on_a_warp().count()
    if others:
        yield (LINE_WAITS if others == 1 else LINES_WAIT) % {"n": others}
    if there.base is None:
        yield NO_PLAN
    if there.left_out:
        numbers = [str(number) for number in sorted(there.left_out)]
        yield LEFT_OUT % {"warps": f"warp {listed(numbers)}"}
