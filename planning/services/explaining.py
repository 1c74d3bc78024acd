"""Why a plan is as it is: the chain behind every late warp, the weekly load, plans side by side, moves and their gain.

All of it is said when the plan is made, in plain JSON, and kept with it: later the shed stands differently. It is said
in English, in the forms of `retelling.py`, which says it again in the language of a page.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from planning.models import PlanRun
from planning.services import retelling
from planning.services.retelling import listed
from planning.services.standing import IN_LOOM, Standing
from planning.shed_plan import Cause, Cost, Plan, late_by_piece, time_plan, why_late
from planning.worktime import DAY_MIN, WEEK_MIN, Calendar, Hours, Span

# So many of the worst late warps are tried out for what would mend them; the others get their chain alone.
TRIED = 6
# From here on something is short of hours: orders are never spread evenly. Common practice, no source.
TIGHT_PCT = 85
# The bottleneck is looked for in the coming weeks; later ones are not full yet.
LOOKED_AHEAD_WEEKS = 6
SATURDAY: Span = (5 * DAY_MIN + 6 * 60, 5 * DAY_MIN + 14 * 60)


def day_name(day: date) -> str:
    """Tue 24 Nov."""
    return f"{day:%a} {day.day} {day:%b}"


def hours_said(minutes: int) -> str:
    """A length of time as people say it: days from two days on, else hours, else minutes."""
    if minutes >= 2 * DAY_MIN:
        days, hours = divmod(round(minutes / 60), 24)
        return f"{days} days" + (f" {hours} h" if hours else "")
    if minutes >= 60:
        return f"{round(minutes / 60)} h"
    return f"{minutes} min"


def work_said(minutes: int) -> str:
    """Working minutes as people say them: never in days, since a day of work is none of 24 hours.

    >>> work_said(57 * 60 + 20), hours_said(57 * 60 + 20)
    ('57 h', '2 days 9 h')
    """
    return f"{round(minutes / 60)} h" if minutes >= 60 else f"{minutes} min"


@dataclass(frozen=True)
class _Story:
    """The words for one plan in one shed."""

    there: Standing
    plan: Plan

    def day(self, minute: int) -> str:
        return day_name(self.there.date_of(minute))

    def off_day(self, minute: int) -> date:
        """The day on which something that ends at a minute ends: midnight belongs to the day before."""
        return self.there.date_of(minute - 1)

    def moment(self, minute: int) -> str:
        return f"{self.day(minute)} {self.there.day_of(minute):%H:%M}"

    # The chain

    def chain(self, code: str) -> list[dict[str, Any]]:
        """From yarn to finishing, in the order in which it happens."""
        links = list(reversed(why_late(self.there.shed, self.plan, code)))
        said: list[dict[str, Any]] = []
        before = [link for link in links if link.warp != code]
        own = [link for link in links if link.warp == code]
        release = next((link for link in links if link.kind == "release"), None)
        if release is not None:
            said += self._release(release, code)
        if before:
            said += self._loom_before(before)
        for link in own:
            said += self._own(link)
        said.append(self._finishing(code))
        return said

    def _release(self, link: Cause, code: str) -> Iterator[dict[str, Any]]:
        released = self.there.released
        own = link.warp == code
        comes = released.waits_for.get(link.warp)
        minutes = link.stops_at - link.starts_at
        if comes:
            at = (released.warp_yarn if comes.startswith("warp") else released.weft_yarn)[link.warp]
            yield _link(
                "yarn",
                min(minutes, max(at - link.starts_at, 0)),
                (retelling.ITS_YARN_COMES if own else retelling.YARN_COMES)
                % {"material": comes, "warp": link.warp, "day": self.day(at)},
            )
        winding = self.plan.placements[link.warp].winding
        if winding:
            yield from self._beam(link, own=own)
            start, stop = winding.starts_at, winding.stops_at
            waited = start - winding.given_at
            ahead = [one for one, (a, b) in released.winding.items() if a < start and b > winding.given_at]
            if waited > 0 and ahead:
                form = retelling.IT_IS_WOUND_BEHIND if own else retelling.WARP_IS_WOUND_BEHIND
            else:
                form = retelling.IT_IS_WOUND if own else retelling.WARP_IS_WOUND
            told = {"warp": link.warp, "at_first": self.moment(start), "at_last": self.moment(stop)}
            yield _link(
                "warping",
                min(minutes, stop - max(winding.given_at, link.starts_at)),
                form % {**told, "warps": _warps(ahead)},
            )

    def _beam(self, link: Cause, *, own: bool) -> Iterator[dict[str, Any]]:
        placed = self.plan.placements[link.warp]
        winding = placed.winding
        if winding is None or winding.given_at <= winding.asked_at:
            return
        gave = [one.warp for one in self.plan.placements.values() if one.beam and one.end == winding.given_at]
        if placed.beam:
            form = retelling.IT_WAITS_FOR_THE_BEAM if own else retelling.WARP_WAITS_FOR_THE_BEAM
        else:
            form = retelling.IT_WAITS_FOR_BEAM if own else retelling.WARP_WAITS_FOR_BEAM
        yield _link(
            "beam",
            min(winding.given_at - winding.asked_at, link.stops_at - link.starts_at),
            form
            % {
                "warp": link.warp,
                "time": hours_said(winding.given_at - winding.asked_at),
                "beam": placed.beam,
                "warps": _warps(gave),
                "at": self.moment(winding.given_at),
            },
        )

    def _loom_before(self, links: Sequence[Cause]) -> Iterator[dict[str, Any]]:
        warps = list(dict.fromkeys(link.warp for link in links if link.kind in {"weaving", "set-up"}))
        if warps:
            first = min(link.starts_at for link in links if link.kind != "release")
            last = max(link.stops_at for link in links)
            yield _link(
                "loom",
                last - first,
                retelling.LOOM_IS_BUSY % {"loom": links[0].loom, "warps": _warps(warps), "at": self.moment(last)},
            )
        held = list(dict.fromkeys(other for link in links if link.kind == "tuner wait" for other in link.others))
        if held:
            minutes = sum(link.stops_at - link.starts_at for link in links if link.kind == "tuner wait")
            said = retelling.TUNERS_BEFORE % {"time": hours_said(minutes), "warps": _warps(held)}
            yield _link("tuner", minutes, said)

    def _own(self, link: Cause) -> Iterator[dict[str, Any]]:
        minutes = link.stops_at - link.starts_at
        setup = self.plan.placements[link.warp].setup
        match link.kind:
            case "tuner wait":
                form = retelling.TUNER_IS_AT if link.others else retelling.TUNER_ELSEWHERE
                yield _link("tuner", minutes, form % {"time": hours_said(minutes), "warps": _warps(link.others)})
            case "closed":
                form = retelling.TUNERS_OFF if setup.needs_tuner else retelling.LOOM_OFF
                yield _link("closed", minutes, form % {"time": hours_said(minutes), "loom": link.loom})
            case "set-up":
                said = retelling.SET_UP_TAKES % {"setup": setup.kind, "at": self.moment(link.stops_at)}
                yield _link("set-up", minutes, said)
            case "weaving":
                worked = self.there.shed.hours(link.loom).worked_between(link.starts_at, link.stops_at)
                yield _link(
                    "weaving",
                    minutes,
                    retelling.WEAVES % {"time": work_said(worked), "loom": link.loom, "at": self.moment(link.stops_at)},
                )

    def _finishing(self, code: str) -> dict[str, Any]:
        late = self.there.late_lines(self.plan.placements[code])
        return _link(
            "finishing",
            max((one.days for one in late), default=0) * DAY_MIN,
            " ".join(
                (retelling.PIECE_FINISHED if one.pieces == 1 else retelling.PIECES_FINISHED)
                % {
                    "line": one.line,
                    "n": one.pieces,
                    "day_ready": day_name(one.ready_on),
                    "finishing": one.finishing_days,
                    "day_due": day_name(one.line.due_on),
                }
                for one in late
            ),
        )

    # What would mend it

    def mends(self, code: str, *, one_tuner_more: Plan | None, one_beam_more: Plan | None = None) -> list[str]:
        """Each tried out exactly: one thing changed, all else as it is planned."""
        said: list[str] = []
        placed = self.plan.placements[code]
        links = why_late(self.there.shed, self.plan, code)
        if any(link.kind == "release" and link.warp == code for link in links):
            said += self._mend(code, self._here_now(code), retelling.YARN_HERE)
        if one_tuner_more is not None and any(link.kind == "tuner wait" for link in links):
            said += self._mend(code, one_tuner_more, retelling.ONE_TUNER_MORE)
        if one_beam_more is not None and any(self._waits_for_beam(link.warp) for link in links):
            said += self._mend(code, one_beam_more, retelling.ONE_BEAM_MORE)
        said += self._mend(code, self._put_first(code), retelling.PUT_FIRST % {"loom": placed.loom}, pushes=True)
        said += self._mend(code, self._with_saturdays(placed.loom), retelling.SATURDAYS % {"loom": placed.loom})
        if not said:
            said.append(retelling.NOTHING_MENDS)
        return said

    def _mend(self, code: str, other: Plan | None, how: str, *, pushes: bool = False) -> Iterator[str]:
        if other is None:
            return
        now, then = self.plan.placements[code], other.placements[code]
        gained = now.weighted_tardy_min - then.weighted_tardy_min
        if gained <= 0:
            return
        sooner = retelling.SOONER % {"time": hours_said(now.end - then.end)}
        told = {
            "how": how,
            "at": self.moment(then.end),
            "when": sooner if then.weighted_tardy_min else retelling.IN_TIME,
        }
        pushed = [
            placed.warp
            for placed in other.placements.values()
            if placed.warp != code and placed.weighted_tardy_min > self.plan.placements[placed.warp].weighted_tardy_min
        ]
        if pushes and pushed:
            yield retelling.MENDED_BUT % {**told, "warps": _warps(pushed)}
        else:
            yield retelling.MENDED % told

    def _here_now(self, code: str) -> Plan:
        shed = self.there.shed
        rows = tuple(
            replace(row, release=self.there.now_min, wind_min=None, beams=()) if row.id == code else row
            for row in shed.warps
        )
        return time_plan(replace(shed, warps=rows), self.plan.sequences)

    def _put_first(self, code: str) -> Plan | None:
        loom = self.plan.placements[code].loom
        others = [one for one in self.plan.sequences[loom] if one != code]
        stays = sum(self.there.shed.warp[one].in_progress is not None for one in others)
        if self.plan.placements[code].place <= stays:
            return None
        return time_plan(self.there.shed, {**self.plan.sequences, loom: (*others[:stays], code, *others[stays:])})

    def _with_saturdays(self, loom_id: str) -> Plan | None:
        shed = self.there.shed
        hours = shed.calendars[shed.loom[loom_id].calendar]
        if any(stop > SATURDAY[0] and start < SATURDAY[1] for start, stop in hours.weekly):
            return None
        more = Hours((*hours.weekly, SATURDAY), hours.closed)
        looms = tuple(replace(one, calendar="with Saturdays") if one.id == loom_id else one for one in shed.looms)
        return time_plan(
            replace(shed, looms=looms, calendars={**shed.calendars, "with Saturdays": more}), self.plan.sequences
        )

    # Late warps

    def late(self, *, tried: int) -> list[dict[str, Any]]:
        by_piece = {code: late_by_piece(self.there.shed, one) for code, one in self.plan.placements.items()}
        late = [placed for placed in self.plan.placements.values() if any(by_piece[placed.warp])]
        late.sort(key=lambda placed: (-placed.weighted_tardy_min, placed.end))
        waits = any(link.kind == "tuner wait" for placed in late[:tried] for link in self._links(placed.warp))
        shed = self.there.shed
        more = replace(shed, tuners=replace(shed.tuners, capacity=shed.tuners.capacity + 1))
        one_tuner_more = time_plan(more, self.plan.sequences) if waits else None
        one_beam_more = None
        if any(self._waits_for_beam(link.warp) for placed in late[:tried] for link in self._links(placed.warp)):
            one_beam_more = self._one_beam_more()
        return [
            {
                "warp": placed.warp,
                "loom": placed.loom,
                "late_min": sum(by_piece[placed.warp]),
                "weighted_min": placed.weighted_tardy_min,
                "days": self.there.days_late(placed),
                "chain": self.chain(placed.warp),
                "mend": self.mends(placed.warp, one_tuner_more=one_tuner_more, one_beam_more=one_beam_more)
                if n < tried
                else [],
            }
            for n, placed in enumerate(late)
        ]

    def _waits_for_beam(self, code: str) -> bool:
        winding = self.plan.placements[code].winding
        return winding is not None and winding.given_at > winding.asked_at

    def _one_beam_more(self) -> Plan:
        shed = self.there.shed
        assert shed.winding is not None
        beams = tuple(replace(kind, count=kind.count + 1) for kind in shed.winding.beams)
        return time_plan(replace(shed, winding=replace(shed.winding, beams=beams)), self.plan.sequences)

    def _links(self, code: str) -> list[Cause]:
        return why_late(self.there.shed, self.plan, code)


def _link(kind: str, minutes: int, said: str) -> dict[str, Any]:
    return {"kind": kind, "minutes": max(minutes, 0), "said": said}


def _warps(codes: Sequence[str]) -> str:
    return f"warp{'' if len(codes) == 1 else 's'} {listed(list(codes))}" if codes else "another loom"


def late_warps(there: Standing, plan: Plan, *, tried: int = TRIED) -> list[dict[str, Any]]:
    return _Story(there, plan).late(tried=tried)


def in_short(late: Mapping[str, Any]) -> str:
    """The weightiest link of a late warp's chain but the finishing, which every warp has."""
    links = [link for link in late["chain"] if link["kind"] != "finishing"]
    said = max(links, key=lambda link: link["minutes"])["said"] if links else retelling.NOT_SOONER
    return str(said)[:300]


# The weekly load


def weekly_load(there: Standing, plan: Plan) -> list[dict[str, Any]]:
    """By week, from the present minute on: minutes open and minutes taken of looms, tuners and warping."""
    shed, now = there.shed, there.now_min
    weeks = max(-(-plan.cost.last_end // WEEK_MIN), now // WEEK_MIN + 1)
    taken: dict[str, list[int]] = {name: [0] * weeks for name in ("weaving", "set-up", "tuners", "warping")}

    def take(name: str, hours: Calendar, start: int, stop: int) -> None:
        for week in range(start // WEEK_MIN, min(-(-stop // WEEK_MIN), weeks)):
            taken[name][week] += hours.worked_between(max(start, week * WEEK_MIN), min(stop, (week + 1) * WEEK_MIN))

    for placed in plan.placements.values():
        hours = shed.hours(placed.loom)
        take("weaving", hours, placed.start, placed.end)
        if placed.setup.needs_tuner:
            take("tuners", shed.tuner_hours, placed.setup_start, placed.setup_end)
        take("set-up", hours, placed.setup_start, placed.setup_end)
    for start, stop in there.winding.values():
        take("warping", there.upstream.hours, start, stop)
    rows = []
    for week in range(now // WEEK_MIN, weeks):
        a, b = max(week * WEEK_MIN, now), min((week + 1) * WEEK_MIN, shed.horizon)
        loom_open = sum(shed.hours(loom.id).worked_between(a, b) for loom in shed.looms)
        rows.append(
            {
                "week": there.day_of(week * WEEK_MIN).date().isoformat(),
                "looms_open": loom_open,
                "looms_weaving": taken["weaving"][week],
                "looms_setup": taken["set-up"][week],
                "tuners_open": shed.tuners.capacity * shed.tuner_hours.worked_between(a, b),
                "tuners_taken": taken["tuners"][week],
                "warping_open": there.upstream.warping_mills * there.upstream.hours.worked_between(a, b),
                "warping_taken": taken["warping"][week],
            }
        )
    return rows


def bottleneck(load: Sequence[Mapping[str, Any]], late: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """What is tightest in the coming weeks, in a sentence, with the share of hours taken of all three."""
    ahead = list(load[:LOOKED_AHEAD_WEEKS])
    while len(ahead) > 1 and ahead[-1]["looms_weaving"] * 2 < ahead[0]["looms_weaving"]:
        ahead.pop()
    shares = {
        "looms": _share(ahead, ("looms_weaving", "looms_setup"), "looms_open"),
        "tuners": _share(ahead, ("tuners_taken",), "tuners_open"),
        "warping": _share(ahead, ("warping_taken",), "warping_open"),
    }
    waits: dict[str, int] = defaultdict(int)
    for row in late:
        for link in row["chain"]:
            if link["kind"] in {"yarn", "warping", "beam", "loom", "tuner"}:
                waits[link["kind"]] += link["minutes"]
    name = max(shares, key=lambda one: (shares[one], one))
    told = {
        "weeks": retelling.NEXT_WEEKS % {"n": len(ahead)} if len(ahead) > 1 else retelling.THIS_WEEK,
        "pct": shares[name],
        "shares": ", ".join(f"{one} {share} %" for one, share in shares.items() if one != name),
    }
    is_one = name == "warping"
    if shares[name] >= TIGHT_PCT:
        said = (retelling.IS_TIGHT if is_one else retelling.ARE_TIGHT) % {**told, "who": name.capitalize()}
    else:
        said = (retelling.IS_FULLEST if is_one else retelling.ARE_FULLEST) % {**told, "who": name}
    if waits:
        most = max(waits, key=lambda one: (waits[one], one))
        said += f" {retelling.WAIT_LONGEST[most]}"
        if most in {"yarn", "warping"}:
            said += f" {retelling.ORDER_MENDS_NOTHING}"
    return {"name": name, "shares": shares, "waits": dict(waits), "said": said}


def _share(rows: Iterable[Mapping[str, Any]], taken: Sequence[str], opened: str) -> int:
    rows = list(rows)
    hours = sum(row[opened] for row in rows)
    return round(100 * sum(row[name] for row in rows for name in taken) / hours) if hours else 0


# Side by side, and moves


def cost_parts(cost: Cost) -> dict[str, int]:
    return {**asdict(cost), "total": cost.total}


def moves(there: Standing, old: Plan, new: Plan, *, weighed: int) -> list[dict[str, Any]]:
    """What a planner would have to do to come from one plan to the other, each move with what it gains.

    A warp that only shifts because the warps before it do is no move. The gain is that of the whole plan against
    the same plan with this one warp left where it was; less than nothing where a move only makes room for others.
    The gain of so many of them is weighed, which takes a timing each; of the others it is None.
    """
    return [_move(there, old, new, code, is_weighed=n < weighed) for n, code in enumerate(moved_warps(old, new))]


def moved_warps(old: Plan, new: Plan) -> list[str]:
    """Warps that change loom, or their turn among those that stay on theirs; new ones are none."""
    found: list[str] = []
    for loom, order in new.sequences.items():
        was = {code: n for n, code in enumerate(old.sequences.get(loom, ()))}
        found += [code for code in order if code in old.placements and code not in was]
        stay = [code for code in order if code in was]
        kept = _longest_rise([was[code] for code in stay])
        found += [code for n, code in enumerate(stay) if n not in kept]
    return found


def _longest_rise(places: Sequence[int]) -> set[int]:
    """Positions of a longest rising run of places: those that need not move.

    >>> sorted(_longest_rise([2, 0, 1, 3]))
    [1, 2, 3]
    """
    best: list[tuple[int, int]] = []
    for n, place in enumerate(places):
        length, before = max(((best[m][0], m) for m in range(n) if places[m] < place), default=(0, -1))
        best.append((length + 1, before))
    if not best:
        return set()
    at = max(range(len(best)), key=lambda n: best[n][0])
    kept = set()
    while at >= 0:
        kept.add(at)
        at = best[at][1]
    return kept


def _move(there: Standing, old: Plan, new: Plan, code: str, *, is_weighed: bool) -> dict[str, Any]:
    was, now = old.placements[code], new.placements[code]
    story = _Story(there, new)
    told = {"warp": code, "loom": now.loom, "was": was.loom, "now": now.loom}
    told |= {"at_now": story.moment(now.start), "at_was": story.moment(was.start)}
    left = _left_where_it_was(there, old, new, code) if is_weighed else None
    gain = None
    if left is not None:
        gain = {
            "weighted_tardy_min": left.cost.weighted_tardy_min - new.cost.weighted_tardy_min,
            "setup_min": left.cost.setup_min - new.cost.setup_min,
            "total": left.cost.total - left.cost.moves - new.cost.total + new.cost.moves,
        }
    return {
        "warp": code,
        "from_loom": was.loom,
        "to_loom": now.loom,
        "said": (retelling.MOVED_LOOM if was.loom != now.loom else retelling.MOVED_TURN) % told,
        "gain": gain,
        "must": is_weighed and left is None,
    }


def _left_where_it_was(there: Standing, old: Plan, new: Plan, code: str) -> Plan | None:
    """The new plan with this warp in its old turn; None where it can't stay."""
    was = old.placements[code]
    if not there.shed.fits(was.loom, code):
        return None
    back = {loom: [one for one in order if one != code] for loom, order in new.sequences.items()}
    queue = back[was.loom]
    behind = [one for one in old.sequences[was.loom][: was.place] if one in queue]
    hangs = sum(there.shed.warp[one].in_progress is not None for one in queue)
    queue.insert(max(queue.index(behind[-1]) + 1 if behind else 0, hangs), code)
    return time_plan(there.shed, back)


# All of it


def explain(
    there: Standing, plan: Plan, *, beside: Mapping[str, Plan] | None = None, tried: int = TRIED
) -> dict[str, Any]:
    """What is kept with a plan: the chains, the load, the plans beside it, and what it was worked from."""
    late = late_warps(there, plan, tried=tried)
    load = weekly_load(there, plan)
    return {
        "winding": list(there.order),
        "wound_ahead_min": there.shed.winding.ahead_min if there.shed.winding else None,
        "facts": dict(there.facts),
        "frozen": sorted(there.frozen, key=int),
        "late": late,
        "load": load,
        "bottleneck": bottleneck(load, late),
        "beside": [{"name": name, "cost": cost_parts(other.cost)} for name, other in (beside or {}).items()],
    }


# What has changed since


def changes_since(run: PlanRun, there: Standing) -> list[str]:
    """What a plan was worked from and what is no longer so, each a short phrase."""
    was = run.explained.get("facts")
    if not was:
        return []
    now = there.facts
    said = [f"{what} is new" for what in now if what not in was]
    said += [f"{what} is gone" for what in was if what not in now]
    several = {"the beams", "the closures", "the mill's figures"}
    said += [
        f"{what} {'have' if what in several else 'has'} changed"
        for what in was
        if what in now and was[what] != now[what]
    ]
    return sorted(said)


def slots_that_differ(before: PlanRun | None, after: PlanRun) -> list[str]:
    """Warps that stand on another loom, or start on another day, in the later plan, each a short phrase."""
    had = {slot.warp_id: slot for slot in before.slots.select_related("loom")} if before else {}
    said: list[str] = []
    for slot in after.slots.select_related("warp", "loom").order_by("warp__number"):
        was = had.pop(slot.warp_id, None)
        if was is None:
            said.append(retelling.IS_NEW % {"warp": slot.warp.number, "loom": slot.loom})
        elif was.loom_id != slot.loom_id:
            said.append(retelling.WENT % {"warp": slot.warp.number, "was": was.loom, "now": slot.loom})
        elif abs(slot.weaving_starts_at - was.weaving_starts_at) >= timedelta(hours=4):
            on = timezone.localtime(slot.weaving_starts_at)
            told = {"warp": slot.warp.number, "loom": slot.loom, "day": day_name(on.date()), "hour": f"{on:%H:%M}"}
            said.append(retelling.STARTS % told)
    for slot in had.values():
        if slot.warp.state not in (*IN_LOOM, "woven out"):
            said.append(retelling.NO_PLACE % {"warp": slot.warp.number})
    return said
