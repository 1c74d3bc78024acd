"""What stands in the day-book: entries in chapters, each chapter somebody's."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

SHOWN = 8


@dataclass(frozen=True)
class Entry:
    """One line of the day-book: what it is, what is the matter, the one next thing to do, and what that changes.

    effect   what follows from doing it, or from leaving it; empty where the act says it all
    """

    what: str
    address: str
    matter: str
    act: str
    act_address: str
    effect: str = ""


@dataclass(frozen=True)
class Chapter:
    """Entries of a kind, those that press most first; the page shows the first of them.

    roles        whose work it is; others see how many there are, and where
    is_routine   the day's work, with nothing the matter
    """

    title: str
    entries: list[Entry]
    all_well: str
    list_address: str
    roles: frozenset[str]
    is_routine: bool

    @property
    def n(self) -> int:
        return len(self.entries)

    @property
    def shown(self) -> list[Entry]:
        return self.entries[:SHOWN]

    @property
    def more(self) -> int:
        return self.n - len(self.shown)


def chapter(
    title: str, entries: Iterable[Entry], *, all_well: str, at: str, roles: Iterable[str], is_routine: bool = False
) -> Chapter:
    return Chapter(title, list(entries), all_well, at, frozenset(roles), is_routine)
