"""Walks a plan minute by minute and says everything that is wrong with it.

Shares no arithmetic with the planner: one flag per minute for each loom and for the tuners, no
running totals, no search. Slow, and meant to be.
"""

from dataclasses import dataclass, field
from decimal import Decimal

WEEK = 7 * 24 * 60


@dataclass
class Verdict:
    wrong: list[str] = field(default_factory=list)
    weighted_tardy_min: int = 0
    setup_min: int = 0
    last_end: int = 0
    tardy_pieces: int = 0
    moves: int = 0
    move_cost: int = 0
    cost: int = 0


def open_minutes(weekly, closed, horizon):
    """One flag for each minute: 1 open, 0 closed."""
    one_week = bytearray(WEEK)
    for start, stop in weekly:
        for minute in range(start, stop):
            one_week[minute] = 1
    minutes = (one_week * (horizon // WEEK + 1))[:horizon]
    for start, stop in closed:
        for minute in range(max(0, start), min(stop, horizon)):
            minutes[minute] = 0
    return minutes


def step_through(minutes, start, need):
    """The minutes worked when `need` of them are done one by one from `start` on; None when they run out."""
    worked = []
    minute = start
    while len(worked) < need:
        if minute >= len(minutes):
            return None
        if minutes[minute]:
            worked.append(minute)
        minute += 1
    return worked


def walk(shed, plan):
    """The verdict on a plan file, {"warps": {id: {loom, setup_start, setup_end, start, end}}}, for a shed as JSON."""
    verdict = Verdict()
    rows = plan["warps"]
    known = {warp["id"]: warp for warp in shed["warps"]}
    for name in sorted(set(known) ^ set(rows)):
        verdict.wrong.append(f"{name} is " + ("not planned" if name in known else "no warp of this shed"))
    tuners = shed["calendars"][shed["tuner"]["calendar"]]
    tuners_open = open_minutes(tuners["weekly"], tuners["closed"], shed["horizon"])
    busy_tuners = [0] * shed["horizon"]
    for loom in shed["looms"]:
        on_loom = [(rows[name]["start"], name) for name in rows if name in known and rows[name]["loom"] == loom["id"]]
        _walk_loom(shed, loom, [name for _, name in sorted(on_loom)], rows, known, tuners_open, busy_tuners, verdict)
    if any(rows[name]["loom"] not in {loom["id"] for loom in shed["looms"]} for name in rows):
        verdict.wrong.append("a warp is on a loom that is not in the shed")
    if shed.get("winding"):
        _walk_winding(shed, rows, known, verdict)
    crowded = [minute for minute, busy in enumerate(busy_tuners) if busy > shed["tuner"]["capacity"]]
    if crowded:
        verdict.wrong.append(f"{busy_tuners[crowded[0]]} tuners are needed at minute {crowded[0]}")
    for name, before in (shed.get("previous") or {}).items():
        if name not in rows or name not in known:
            continue
        rules = shed["stability"]
        shift = max(rows[name]["start"], before["start"]) - min(rows[name]["start"], before["start"])
        if rows[name]["loom"] != before["loom"] or shift > rules["tolerance"]:
            verdict.moves += 1
            frozen = before["start"] < rules["freeze_until"]
            verdict.move_cost += rules["move_cost"] if frozen else rules["move_cost_late"]
    rates = shed["objective"]
    verdict.cost = verdict.move_cost + (
        rates["tardiness"] * verdict.weighted_tardy_min
        + rates["setup"] * verdict.setup_min
        + rates["makespan"] * verdict.last_end
    )
    return verdict


def accepted(shed, plan, cost):
    """Walk a plan and hold it to what its timing says it costs; the verdict.

    A pin that can't hold and a beam that is not there are the two things that a plan may get wrong, if it says so.
    """
    verdict = walk(shed, plan)
    late_pins = [wrong for wrong in verdict.wrong if ": pinned to minute " in wrong]
    no_beams = [wrong for wrong in verdict.wrong if ": has no beam that takes it" in wrong]
    assert sorted(verdict.wrong) == sorted([*late_pins, *no_beams])
    assert (len(late_pins), len(no_beams)) == (cost.broken_pins, cost.broken_beams)
    assert verdict.cost == cost.total - cost.pins
    assert verdict.weighted_tardy_min == cost.weighted_tardy_min
    assert (verdict.setup_min, verdict.last_end) == (cost.setup_min, cost.last_end)
    assert (verdict.tardy_pieces, verdict.moves) == (cost.tardy_pieces, cost.moved)
    return verdict


def _walk_loom(shed, loom, names, rows, known, tuners_open, busy_tuners, verdict):
    hours = shed["calendars"][loom["calendar"]]
    loom_open = open_minutes(hours["weekly"], [*hours["closed"], *loom["closed"]], shed["horizon"])
    in_loom = loom["state"]
    clear_from = loom.get("free_at", 0)
    for number, name in enumerate(names):
        warp, row = known[name], rows[name]
        verdict.wrong += [f"{name} on {loom['id']}: {fault}" for fault in _misfits(loom, warp, number)]
        need, tuner = _setup(shed, in_loom, warp)
        verdict.setup_min += need
        if row["setup_start"] < clear_from:
            verdict.wrong.append(f"{name}: set-up at {row['setup_start']}, but {loom['id']} is clear from {clear_from}")
        if row["setup_start"] < warp["release"]:
            verdict.wrong.append(f"{name}: set-up before it is released")
        if warp.get("wind_min") is not None and row["setup_start"] < row["wound_end"]:
            verdict.wrong.append(f"{name}: set-up before it is wound")
        worked = step_through(tuners_open if tuner else loom_open, row["setup_start"], need)
        if worked is None:
            verdict.wrong.append(f"{name}: its set-up runs out of the calendar")
            return
        done = worked[-1] + 1 if worked else row["setup_start"]
        if done != row["setup_end"]:
            verdict.wrong.append(f"{name}: set-up is done at {done}, the plan says {row['setup_end']}")
        if tuner:
            for minute in worked:
                busy_tuners[minute] += 1
        if row["start"] < row["setup_end"]:
            verdict.wrong.append(f"{name}: weaves before it is set up")
        if not loom_open[row["start"]]:
            verdict.wrong.append(f"{name}: starts to weave in closed time")
        if warp["pin_start"] is not None and row["start"] != warp["pin_start"]:
            verdict.wrong.append(f"{name}: pinned to minute {warp['pin_start']}, starts at {row['start']}")
        clear_from = _weave(loom, warp, row, loom_open, verdict)
        in_loom = warp


def _walk_winding(shed, rows, known, verdict):
    """Warping mills and beams, minute by minute: a beam is taken from the winding until the warp is woven out."""
    rules = shed["winding"]
    hours = shed["calendars"][rules["calendar"]]
    mill_open = open_minutes(hours["weekly"], hours["closed"], shed["horizon"])
    busy_mills = [0] * shed["horizon"]
    taken = {beams["kind"]: [0] * shed["horizon"] for beams in rules["beams"]}
    flange_mm = {beams["kind"]: beams["flange_mm"] for beams in rules["beams"]}
    looms = {loom["id"]: loom for loom in shed["looms"]}
    for name, row in rows.items():
        warp = known.get(name)
        if warp is None:
            continue
        from_minute = 0
        if warp.get("wind_min") is not None:
            from_minute = row["wound_start"]
            if from_minute < warp.get("wind_from", 0):
                verdict.wrong.append(f"{name}: wound before its yarn is here")
            worked = step_through(mill_open, from_minute, warp["wind_min"])
            if worked is None or worked[-1] + 1 != row["wound_end"] or worked[0] != from_minute:
                verdict.wrong.append(f"{name}: its winding does not take the minutes that it takes")
                continue
            for minute in range(worked[0], worked[-1] + 1):
                busy_mills[minute] += 1
        kind = row.get("beam")
        if not warp.get("beams"):
            if kind is not None:
                verdict.wrong.append(f"{name}: has a beam that it does not want")
            continue
        if kind not in warp["beams"]:
            verdict.wrong.append(f"{name}: has no beam that takes it")
            continue
        if row["loom"] in looms and flange_mm[kind] > looms[row["loom"]]["max_flange_mm"]:
            verdict.wrong.append(f"{name}: its beam is too big for the loom")
        for minute in range(from_minute, min(row["end"], shed["horizon"])):
            taken[kind][minute] += 1
    if max(busy_mills) > rules["mills"]:
        verdict.wrong.append(f"{max(busy_mills)} warps are wound at once")
    for beams in rules["beams"]:
        if max(taken[beams["kind"]]) > beams["count"]:
            verdict.wrong.append(f"{max(taken[beams['kind']])} beams of kind {beams['kind']} are taken at once")


def _weave(loom, warp, row, loom_open, verdict):
    """Weaves pick by pick of whole minutes; the minute the loom is free again."""
    rate = Decimal(str(loom["ppm"])) * Decimal(str(loom["efficiency"]))
    picks, marks = 0, []
    for piece in warp["pieces"]:
        picks += piece["picks"]
        minutes = int(picks / rate)
        while minutes * rate < picks:
            minutes += 1
        while (minutes - 1) * rate >= picks:
            minutes -= 1
        marks.append(minutes)
    worked = step_through(loom_open, row["start"], marks[-1])
    if worked is None:
        verdict.wrong.append(f"{warp['id']}: its weaving runs out of the calendar")
        return row["end"]
    for piece, mark in zip(warp["pieces"], marks, strict=True):
        late = worked[mark - 1] + 1 - piece["due"]
        if late > 0:
            verdict.weighted_tardy_min += late * piece["weight"]
            verdict.tardy_pieces += 1
    end = worked[-1] + 1
    if end != row["end"]:
        verdict.wrong.append(f"{warp['id']}: is woven out at {end}, the plan says {row['end']}")
    verdict.last_end = max(verdict.last_end, end)
    return end


def _misfits(loom, warp, number):
    if warp["in_progress"] is not None:
        if warp["in_progress"] != loom["id"] or number:
            yield "it is in progress elsewhere, or no longer first"
        return
    if warp["width_cm"] > loom["width_cm"]:
        yield "too wide"
    if warp["jacquard"] and not loom["jacquard"]:
        yield "no jacquard"
    if not loom["jacquard"] and warp["shafts"] > loom["shafts"]:
        yield "too few shafts"
    if warp["feeders"] > loom["feeders"]:
        yield "too few weft colours"
    if warp["flange_mm"] > loom["max_flange_mm"]:
        yield "beam too big"
    if warp["pin_loom"] not in (None, loom["id"]):
        yield f"pinned to {warp['pin_loom']}"
    if warp.get("only_looms") is not None and loom["id"] not in warp["only_looms"]:
        yield "kept to other looms"


def _setup(shed, before, warp):
    """Minutes of set-up, and whether they hold a tuner."""
    rules = shed["setup"]
    if warp["in_progress"] is not None and not warp.get("setup_left_min"):
        return 0, False
    if before.get("warp_group") is not None and before.get("warp_group") == warp.get("warp_group"):
        need, tuner = warp.get("weft_change_min", 0), False
    elif before["family"] == warp["family"]:
        need, tuner = warp["tie_min"], rules["tie_needs_tuner"]
    elif before["reed"] == warp["reed"] and warp.get("draw_in_min") is not None:
        need, tuner = warp["draw_in_min"], rules["gait_needs_tuner"]
    elif before["reed"] == warp["reed"]:
        need, tuner = warp["gait_min"], rules["gait_needs_tuner"]
    else:
        need, tuner = warp["gait_min"] + rules["reed_change_min"], rules["gait_needs_tuner"]
    return (warp["setup_left_min"] if warp["in_progress"] is not None else need), tuner
