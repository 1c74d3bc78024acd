"""The store's care: which place is due an inspection, and why. Knows no ledger, and no cure for moth.

Larvae of clothes moth and carpet beetle eat wool, hair and silk, best where it lies dark and untouched. Inspect and
disturb stock often: common practice, no source. In print are trap checks monthly to quarterly; no published threshold
of a trap was found, so the mill sets its own trigger. What to do about a find is for people licensed to do it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

CAUTION = (
    "Traps and inspections only show what is there. Before anything is frozen, heated, sprayed or fumigated, ask a"
    " licensed pest controller near you, and keep to local law and the mill's own risk assessment."
)


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
class Shelf:
    """A place and what lies in it.

    inspected_on, found     the last inspection and how many moths, larvae and beetles it found together
    pk                      for whoever made it from a row
    """

    code: str
    is_dark: bool
    stored: tuple[Stored, ...]
    inspected_on: date | None = None
    found: int = 0
    lure_renewed_on: date | None = None
    name: str = ""
    pk: int = 0

    @property
    def on_hand_g(self) -> int:
        return sum(lot.on_hand_g for lot in self.stored)


@dataclass(frozen=True, slots=True)
class Due:
    """Something that a place is due, from `on`. `is_urgent` when the last inspection found too many."""

    shelf: Shelf
    what: str
    on: date
    why: str
    is_urgent: bool = False

    def is_due(self, today: date) -> bool:
        return self.on <= today


def what_is_due(shelves: Sequence[Shelf], triggers: Triggers, *, today: date) -> list[Due]:
    """The next inspection of every place that holds what moths eat, and the next lure of every trap; soonest first.

    >>> summer, autumn = date(2026, 7, 1), date(2026, 11, 2)
    >>> triggers = Triggers(every_days=30, soon_days=14, unmoved_days=90, catch=1, lure_days=56)
    >>> shelf = Shelf("B2", True, (Stored("A12", True, summer),), inspected_on=autumn)
    >>> due = what_is_due([shelf], triggers, today=date(2026, 11, 24))[0]
    >>> due.on.isoformat(), due.why
    ('2026-11-16', 'Lot A12 has lain in the dark for 146 days: every 14 days.')

    Source: sooner for protein fibre long unmoved in the dark: common practice, no source.
    """
    found = [due for shelf in shelves if (due := _inspection(shelf, triggers, today))]
    found += [due for shelf in shelves if (due := _lure(shelf, triggers))]
    return sorted(found, key=lambda due: (due.on, not due.is_urgent, due.shelf.code, due.what))


def _inspection(shelf: Shelf, triggers: Triggers, today: date) -> Due | None:
    eaten = sorted((lot for lot in shelf.stored if lot.is_protein), key=lambda lot: (lot.unmoved_since, lot.label))
    if not eaten:
        return None
    if shelf.inspected_on and triggers.catch and shelf.found >= triggers.catch:
        why = (
            f"{shelf.found} found on {_day(shelf.inspected_on)}, at or above the mill's trigger of {triggers.catch}:"
            " act, then look again."
        )
        return Due(shelf, "inspection", shelf.inspected_on, why, is_urgent=True)
    longest_days = (today - eaten[0].unmoved_since).days
    if shelf.is_dark and longest_days >= triggers.unmoved_days:
        interval_days = triggers.soon_days
        why = f"Lot {eaten[0].label} has lain in the dark for {longest_days} days: every {interval_days} days."
    else:
        interval_days = triggers.every_days
        why = f"It holds what moths eat: every {interval_days} days."
    if shelf.inspected_on is None:
        return Due(shelf, "inspection", eaten[0].unmoved_since + timedelta(interval_days), f"Never yet. {why}")
    return Due(shelf, "inspection", shelf.inspected_on + timedelta(interval_days), why)


def _lure(shelf: Shelf, triggers: Triggers) -> Due | None:
    if shelf.lure_renewed_on is None:
        return None
    on = shelf.lure_renewed_on + timedelta(triggers.lure_days)
    return Due(shelf, "lure", on, f"The trap's lure was renewed on {_day(shelf.lure_renewed_on)}.")


def long_unmoved(shelves: Sequence[Shelf], triggers: Triggers, *, today: date) -> list[tuple[Shelf, Stored]]:
    """Lots that moths eat and nobody has touched for long, the longest first: turn them over."""
    found = [
        (shelf, lot)
        for shelf in shelves
        for lot in shelf.stored
        if lot.is_protein and (today - lot.unmoved_since).days >= triggers.unmoved_days
    ]
    return sorted(found, key=lambda shelf_lot: (shelf_lot[1].unmoved_since, shelf_lot[1].label))


def _day(on: date) -> str:
    return f"{on.day} {on:%b}"
