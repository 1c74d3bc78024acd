"""Published problems, read into sheds: weighted tardiness on one machine, and unlike machines with set-ups."""

from decimal import Decimal

from planning.shed_plan import Hours, Loom, Objective, PairTimes, PieceDue, SetupTimes, Shed, Tuners, Warp
from planning.worktime import WEEK_MIN
from tests.planning.mills import INSTANCES

PUBLIC = INSTANCES / "public"
ALWAYS = Hours(((0, WEEK_MIN),))


def _loom(name):
    """A loom of one pick a minute that takes everything."""
    return Loom(
        id=name,
        width_cm=100,
        shafts=8,
        jacquard=False,
        feeders=1,
        max_flange_mm=500,
        ppm=1,
        efficiency=Decimal(1),
        calendar="always",
    )


def _job(name, *, minutes, due, weight, release=0):
    return Warp(
        id=name,
        family=name,
        reed="R",
        width_cm=100,
        shafts=8,
        jacquard=False,
        feeders=1,
        flange_mm=500,
        pieces=(PieceDue(minutes, due, weight),),
        release=release,
        tie_min=0,
        gait_min=0,
    )


def _numbers(name):
    return [int(word) for word in (PUBLIC / name).read_text().split()]


def weighted_tardiness(number):
    """Problem `number` (from 1) of OR-Library's wt40 as a shed of one loom, and the best value known.

    Source: J. E. Beasley, OR-Library; values of Crauwels, Potts and Van Wassenhove (1998).
    """
    start = (number - 1) * 120
    rows = _numbers("wt40.txt")[start : start + 120]
    minutes, weights, dues = rows[:40], rows[40:80], rows[80:]
    jobs = [
        _job(f"J{j}", minutes=p, due=d, weight=w)
        for j, (p, w, d) in enumerate(zip(minutes, weights, dues, strict=True))
    ]
    shed = Shed(
        name=f"wt40-{number}",
        horizon=WEEK_MIN * 2,
        calendars={"always": ALWAYS},
        looms=(_loom("M1"),),
        warps=tuple(jobs),
        tuners=Tuners(1, "always"),
        setup=SetupTimes(gait_needs_tuner=False),
        objective=Objective(1, 0, 0),
    )
    return shed, _numbers("wtopt40.txt")[number - 1]


def unlike_machines():
    """Lin and Hsieh's problem of 10 machines and 100 jobs as a shed, and the best value in print.

    The file holds, for each job, its minutes on each machine; weights; due dates; ready times; then for each machine
    and job the set-up after each job, before which the job may not be there: C_j = max(r_j, C_i + s_ij) + p_j. The file
    names none of this. The set-up of a job after itself is read as that of a first job: read so, plans cost about
    what is in print; read as free, plans cost 5 % less than the best in print.

    Source: Lin and Hsieh (2014), see SOURCES.txt.
    """
    rows = _numbers("setting_13_10X100_5.txt")
    machines, jobs = range(10), range(100)
    weights, dues, readies = rows[1000:1100], rows[1100:1200], rows[1200:1300]
    setups = {}
    for m in machines:
        for to in jobs:
            row = rows[1300 + m * 10_000 + to * 100 :][:100]
            setups |= {(f"M{m}", f"J{i}", f"J{to}"): row[i] for i in jobs if i != to}
            setups[f"M{m}", None, f"J{to}"] = row[to]
    shed = Shed(
        name="unlike machines",
        horizon=WEEK_MIN,
        calendars={"always": ALWAYS},
        looms=tuple(_loom(f"M{m}") for m in machines),
        warps=tuple(_job(f"J{j}", minutes=1, due=dues[j], weight=weights[j], release=readies[j]) for j in jobs),
        tuners=Tuners(1, "always"),
        setup=SetupTimes(gait_needs_tuner=False),
        objective=Objective(1, 0, 0),
        pair_times=PairTimes({(f"M{m}", f"J{j}"): rows[j * 10 + m] for m in machines for j in jobs}, setups),
    )
    return shed, 137_515
