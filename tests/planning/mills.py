"""Small random mills for hypothesis, and the files of sheds, all in the benchmark's format."""

import json
from pathlib import Path

from hypothesis import strategies as st

INSTANCES = Path(__file__).parent / "instances"
WEEKS = 26
HORIZON = WEEKS * 7 * 24 * 60


def instance(name):
    return json.loads((INSTANCES / f"{name}.json").read_text())


@st.composite
def weeks(draw):
    """Hours of a week: the same shift on some days, sometimes with a break or over midnight."""
    days = draw(st.integers(3, 7))
    start = draw(st.integers(0, 20)) * 60
    length = draw(st.integers(6, 16)) * 60
    pause = draw(st.sampled_from([0, 0, 30, 45]))
    flags = bytearray(10080)
    for day in range(days):
        for minute in range(day * 1440 + start, day * 1440 + start + length):
            flags[minute % 10080] = 1
        for minute in range(day * 1440 + start + 60, day * 1440 + start + 60 + pause):
            flags[minute % 10080] = 0
    edges = [m for m in range(10081) if (m < 10080 and flags[m]) != (m > 0 and flags[m - 1])]
    return [list(pair) for pair in zip(edges[::2], edges[1::2], strict=True)]


def closures():
    span = st.tuples(st.integers(0, 15_000), st.integers(1, 4000)).map(lambda s: [s[0], s[0] + s[1]])
    return st.lists(span, max_size=2)


@st.composite
def open_minutes_of(draw, calendars, loom):
    """A minute of the first three weeks in which the loom runs; None when the one that was drawn is closed."""
    hours = calendars[loom["calendar"]]
    start, stop = draw(st.sampled_from(hours["weekly"]))
    minute = draw(st.integers(0, 2)) * 10080 + draw(st.integers(start, stop - 1))
    shut = any(a <= minute < b for a, b in [*hours["closed"], *loom["closed"]])
    return None if shut else minute


@st.composite
def small_mills(draw, max_looms=3, max_warps=8, with_previous=None):
    """A mill in which every warp fits some loom. Its calendars are long enough for any order of its warps."""
    n_looms, n_warps = draw(st.integers(1, max_looms)), draw(st.integers(1, max_warps))
    calendars = {name: {"weekly": draw(weeks()), "closed": draw(closures())} for name in ("day", "shift", "tuners")}
    families = draw(st.integers(1, 4))
    looms = [
        {
            "id": f"L{m}",
            "width_cm": draw(st.sampled_from([150, 190, 230])) if m else 230,
            "shafts": draw(st.sampled_from([8, 16])) if m else 16,
            "jacquard": False,
            "feeders": 4,
            "max_flange_mm": 800,
            "ppm": draw(st.integers(60, 400)),
            "efficiency": draw(st.sampled_from([0.55, 0.7, 0.79, 0.93, 1.0])),
            "calendar": draw(st.sampled_from(["day", "shift"])),
            "closed": draw(closures()),
            "state": {
                "family": draw(st.sampled_from([None, "F0", "F1"])),
                "reed": draw(st.sampled_from([None, "R0", "R1"])),
            },
        }
        for m in range(n_looms)
    ]
    in_progress = {}
    warps = []
    for j in range(n_warps):
        family = draw(st.integers(0, families - 1))
        pieces = draw(
            st.lists(
                st.fixed_dictionaries(
                    {
                        "picks": st.integers(1, 20_000),
                        "due": st.integers(0, 20_000),
                        "weight": st.integers(0, 9),
                    }
                ),
                min_size=1,
                max_size=3,
            )
        )
        warp = {
            "id": f"W{j}",
            "family": f"F{family}",
            "reed": f"R{family % 2}",
            "width_cm": draw(st.sampled_from([140, 180, 220])),
            "shafts": draw(st.sampled_from([4, 8, 12])),
            "jacquard": False,
            "feeders": 2,
            "flange_mm": 700,
            "picks": sum(piece["picks"] for piece in pieces),
            "release": draw(st.sampled_from([0, 0, 0, 700, 5000, 9000])),
            "tie_min": draw(st.sampled_from([0, 45, 120])),
            "gait_min": draw(st.sampled_from([0, 60, 300, 600])),
            "pieces": pieces,
            "in_progress": None,
            "pin_loom": None,
            "pin_start": None,
        }
        loom = draw(st.sampled_from([None, None, *looms]))
        if loom is not None and warp["width_cm"] <= loom["width_cm"] and warp["shafts"] <= loom["shafts"]:
            if loom["id"] not in in_progress and draw(st.booleans()):
                warp["in_progress"] = in_progress[loom["id"]] = loom["id"]
                loom["state"] = {"family": warp["family"], "reed": warp["reed"]}
            else:
                warp["pin_loom"] = loom["id"]
        warps.append(warp)
    for warp in warps:
        home = warp["in_progress"] or warp["pin_loom"]
        if home and draw(st.integers(0, 3)) == 0:
            warp["pin_start"] = draw(open_minutes_of(calendars, next(loom for loom in looms if loom["id"] == home)))
    mill = {
        "format": "loom-sched-1",
        "name": "a small mill",
        "horizon": HORIZON,
        "calendars": calendars,
        "looms": looms,
        "setup": {
            "reed_change_min": draw(st.sampled_from([0, 60])),
            "tie_needs_tuner": draw(st.booleans()),
            "gait_needs_tuner": draw(st.booleans()),
        },
        "tuner": {"capacity": draw(st.integers(1, 2)), "calendar": "tuners"},
        "warps": warps,
        "objective": {"tardiness": 20, "setup": 5, "makespan": 1},
    }
    if draw(st.booleans()) if with_previous is None else with_previous:
        mill["previous"] = {
            warp["id"]: {"loom": draw(st.sampled_from(looms))["id"], "start": draw(st.integers(0, 15_000))}
            for warp in warps
            if draw(st.booleans())
        }
        mill["stability"] = {"tolerance": 480, "freeze_until": 3000, "move_cost": 40_000, "move_cost_late": 900}
    return mill


@st.composite
def modern_mills(draw):
    """Small mills that also use what the benchmark's format leaves out: draw-ins, weft changes, looms in use."""
    mill = draw(small_mills())
    for loom in mill["looms"]:
        loom["free_at"] = draw(st.sampled_from([0, 777, 4000]))
        loom["state"]["warp_group"] = draw(st.sampled_from([None, "G0"]))
    for warp in mill["warps"]:
        warp["draw_in_min"] = draw(st.sampled_from([None, 0, 200]))
        warp["weft_change_min"] = draw(st.sampled_from([0, 15]))
        warp["warp_group"] = draw(st.sampled_from([None, "G0", "G1"]))
        warp["setup_left_min"] = draw(st.sampled_from([0, 90])) if warp["in_progress"] else 0
    return mill


@st.composite
def winding_mills(draw, base=None):
    """Small mills with few beams, on to which warps are still to be wound; any of them can be wound in the end."""
    mill = draw(base or modern_mills())
    kinds = draw(st.sampled_from([["A"], ["A", "B"], ["A", "B", "C"]]))
    flange_mm = {"A": 700, "B": draw(st.sampled_from([700, 800])), "C": 900}
    held = dict.fromkeys(kinds, 0)
    for loom in mill["looms"]:
        loom["max_flange_mm"] = draw(st.sampled_from([700, 800, 900]))
    largest = {loom["id"]: loom["max_flange_mm"] for loom in mill["looms"]}
    for warp in mill["warps"]:
        warp["flange_mm"] = 0
        on_loom = warp["in_progress"] or warp["pin_loom"] or "L0"
        # Every loom takes A; larger kinds are drawn for warps that have a loom with room for them.
        able = [kind for kind in kinds if flange_mm[kind] <= largest[on_loom]]
        if warp["in_progress"] or draw(st.booleans()):
            warp["beams"] = draw(st.sampled_from([[], *([kind] for kind in able)]))
            for kind in warp["beams"]:
                held[kind] += 1
        else:
            warp["wind_min"] = draw(st.sampled_from([1, 60, 400, 1500]))
            warp["wind_from"] = draw(st.sampled_from([0, 0, 700, 6000]))
            some = draw(st.lists(st.sampled_from(kinds), max_size=3, unique=True))
            warp["beams"] = sorted({*some, draw(st.sampled_from(able))}) if draw(st.integers(0, 5)) else []
    mill["winding"] = {
        "mills": draw(st.integers(1, 2)),
        "calendar": draw(st.sampled_from(["day", "shift", "tuners"])),
        "ahead_min": draw(st.sampled_from([0, 600, 2880, 100_000])),
        "beams": [
            {"kind": kind, "count": max(held[kind] + draw(st.integers(0, 2)), 1), "flange_mm": flange_mm[kind]}
            for kind in kinds
        ],
    }
    return mill


@st.composite
def orders_on_looms(draw, shed):
    """Any order of warps on looms that the shed allows."""
    rows = {loom.id: [] for loom in shed.looms}
    for warp_id in draw(st.permutations([warp.id for warp in shed.warps])):
        rows[draw(st.sampled_from(shed.looms_for[warp_id]))].append(warp_id)
    for row in rows.values():
        row.sort(key=lambda warp_id: shed.warp[warp_id].in_progress is None)
    return rows
