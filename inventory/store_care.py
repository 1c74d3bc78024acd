"""The store's care: which place is due an inspection, which trap a lure, which treatment a look. Knows no ledger.

Larvae of clothes moth and carpet beetle eat wool, hair and silk, best where it lies dark and untouched. Inspect and
disturb stock often: common practice, no source. In print are trap checks monthly to quarterly; no published threshold
of a trap was found, so the mill sets its own trigger. What to do about a find is for people licensed to do it:
`treatment.py` has the figures that a treatment is held against.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from mill.refusal import N_
from mill.signs import written_now

# What puts our words into the language of the page.
InWords = Callable[[str], str]

CAUTION = N_(
    "Traps and inspections only show what is there. Before anything is frozen, heated, sprayed or fumigated, ask a"
    " licensed pest controller near you, and keep to local law and the mill's own risk assessment. Pesticides are for"
    " licensed persons only."
)

# What is counted at an inspection: the column, what it is called, and its name in science where it has one.
SPECIES = (
    ("webbing_moths", N_("Webbing clothes moths"), "Tineola bisselliella"),
    ("case_moths", N_("Case-bearing clothes moths"), "Tinea pellionella"),
    ("moths", N_("Moths not told apart"), ""),
    ("larvae", N_("Moth larvae"), ""),
    ("beetles", N_("Carpet beetles"), "Anthrenus"),
)

INSPECTION, LURE, PROBE, RELEASE = "inspection", "lure", "probe", "release"


@dataclass(frozen=True, slots=True)
class Triggers:
    """The mill's own: days between inspections, and finds that call for action.

    every_days      any place that holds what moths eat
    soon_days       where such yarn has lain in the dark for `unmoved_days` or longer
    catch           so many found at one inspection; 0 never calls
    lure_days       a trap's lure lasts so long
    """

    every_days: int
    soon_days: int
    unmoved_days: int
    catch: int
    lure_days: int


@dataclass(frozen=True, slots=True)
class Stored:
    """A lot with something left of it. Yarn whose fibres nobody has said counts as protein."""

    label: str
    is_protein: bool
    unmoved_since: date
    on_hand_g: int = 0


@dataclass(frozen=True, slots=True)
class Hung:
    """A trap that hangs in a place, and when its lure was renewed last."""

    code: str
    lure_renewed_on: date
    catches: str = ""
    pk: int = 0


@dataclass(frozen=True, slots=True)
class Shelf:
    """A place and what lies in it.

    inspected_on, found     the last inspection and how many of all species it found together
    pk                      for whoever made it from a row
    """

    code: str
    is_dark: bool
    stored: tuple[Stored, ...]
    inspected_on: date | None = None
    found: int = 0
    traps: tuple[Hung, ...] = ()
    name: str = ""
    pk: int = 0

    @property
    def on_hand_g(self) -> int:
        return sum(lot.on_hand_g for lot in self.stored)


@dataclass(frozen=True, slots=True)
class Course:
    """A treatment that is not over: its core is to be read on `read_on`, or what it treated is still in quarantine.

    label       treatment 7
    what        freezing of lot Q2
    done_on     when its core was read; None while it is under way
    """

    label: str
    what: str
    read_on: date
    done_on: date | None = None
    pk: int = 0


@dataclass(frozen=True, slots=True)
class Due:
    """Something that is due from `on`. `is_urgent` when the last inspection of the place found too many.

    shelf, trap, course    what it is about: a place, a trap in it, or a treatment
    """

    what: str
    on: date
    why: str
    shelf: Shelf | None = None
    trap: Hung | None = None
    course: Course | None = None
    is_urgent: bool = False

    def is_due(self, today: date) -> bool:
        return self.on <= today

    @property
    def code(self) -> str:
        if self.course:
            return self.course.label
        assert self.shelf is not None
        return self.trap.code if self.trap else self.shelf.code


def what_is_due(
    shelves: Sequence[Shelf],
    triggers: Triggers,
    *,
    today: date,
    courses: Sequence[Course] = (),
    in_words: InWords = str,
) -> list[Due]:
    """The next inspection of every place that holds what moths eat, the next lure of every trap, the next look at
    every treatment; soonest first.

    in_words    an English sentence in the language of the page

    >>> summer, autumn = date(2026, 7, 1), date(2026, 11, 2)
    >>> triggers = Triggers(every_days=30, soon_days=14, unmoved_days=90, catch=1, lure_days=56)
    >>> shelf = Shelf("B2", True, (Stored("A12", True, summer),), inspected_on=autumn)
    >>> due = what_is_due([shelf], triggers, today=date(2026, 11, 24))[0]
    >>> due.on.isoformat(), due.why
    ('2026-11-16', 'Lot A12 has lain in the dark for 146 days: every 14 days.')

    Source: sooner for protein fibre long unmoved in the dark: common practice, no source.
    """
    found = [due for shelf in shelves if (due := _inspection(shelf, triggers, today, in_words))]
    found += [_lure(shelf, trap, triggers, in_words) for shelf in shelves for trap in shelf.traps]
    found += [_look(course, in_words) for course in courses]
    return sorted(found, key=lambda due: (due.on, not due.is_urgent, due.code, due.what))


def _inspection(shelf: Shelf, triggers: Triggers, today: date, in_words: InWords) -> Due | None:
    eaten = sorted((lot for lot in shelf.stored if lot.is_protein), key=lambda lot: (lot.unmoved_since, lot.label))
    if not eaten:
        return None
    if shelf.inspected_on and triggers.catch and shelf.found >= triggers.catch:
        why = in_words(
            N_("%(found)s found on %(on)s, at or above the mill's trigger of %(catch)s: act, then look again.")
        ) % {"found": shelf.found, "on": short_day(shelf.inspected_on, in_words), "catch": triggers.catch}
        return Due(INSPECTION, shelf.inspected_on, why, shelf, is_urgent=True)
    longest_days = (today - eaten[0].unmoved_since).days
    if shelf.is_dark and longest_days >= triggers.unmoved_days:
        interval_days = triggers.soon_days
        why = in_words(N_("Lot %(lot)s has lain in the dark for %(days)s days: every %(every)s days.")) % {
            "lot": eaten[0].label,
            "days": longest_days,
            "every": interval_days,
        }
    else:
        interval_days = triggers.every_days
        why = in_words(N_("It holds what moths eat: every %(every)s days.")) % {"every": interval_days}
    if shelf.inspected_on is None:
        never = in_words(N_("Never yet."))
        return Due(INSPECTION, eaten[0].unmoved_since + timedelta(interval_days), f"{never} {why}", shelf)
    return Due(INSPECTION, shelf.inspected_on + timedelta(interval_days), why, shelf)


def _lure(shelf: Shelf, trap: Hung, triggers: Triggers, in_words: InWords) -> Due:
    on = trap.lure_renewed_on + timedelta(triggers.lure_days)
    why = in_words(N_("The lure of trap %(trap)s was renewed on %(on)s and lasts %(days)s days.")) % {
        "trap": trap.code,
        "on": short_day(trap.lure_renewed_on, in_words),
        "days": triggers.lure_days,
    }
    return Due(LURE, on, why, shelf, trap)


def _look(course: Course, in_words: InWords) -> Due:
    if course.done_on is None:
        why = in_words(N_("Read the core of the %(treatment)s, and write it down.")) % {"treatment": course.what}
        return Due(PROBE, course.read_on, why, course=course)
    why = in_words(
        N_(
            "What the %(treatment)s treated is still in quarantine since its core was read on %(on)s. Look it over,"
            " then release it or treat it again."
        )
    ) % {"treatment": course.what, "on": short_day(course.done_on, in_words)}
    return Due(RELEASE, course.done_on, why, course=course)


def long_unmoved(shelves: Sequence[Shelf], triggers: Triggers, *, today: date) -> list[tuple[Shelf, Stored]]:
    """Lots that moths eat and nobody has touched for long, the longest first: turn them over."""
    found = [
        (shelf, lot)
        for shelf in shelves
        for lot in shelf.stored
        if lot.is_protein and (today - lot.unmoved_since).days >= triggers.unmoved_days
    ]
    return sorted(found, key=lambda shelf_lot: (shelf_lot[1].unmoved_since, shelf_lot[1].label))


def short_day(on: date, in_words: InWords = str) -> str:
    """A day as it stands in a sentence.

    >>> short_day(date(2026, 11, 2))
    '2 Nov'
    """
    return in_words(N_("%(day)s %(month)s")) % {"day": on.day, "month": written_now().months[on.month - 1]}
