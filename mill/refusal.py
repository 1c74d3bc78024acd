"""The mill says no, in words fit to show to whoever asked."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from mill.signs import written_now


def N_(said: str) -> str:
    """The same words, marked to be gathered for translation."""
    return said


class Word(str):
    """A word of ours inside a refusal, that has a translation itself: a warp's state, a kind of yarn."""


class Several(tuple[Any, ...]):
    """Several values in one place of a sentence, each as it is called: Warp 5, Warp 7."""

    def __str__(self) -> str:
        return ", ".join(map(str, self))


class Refusal(ValueError):
    """A request that the mill can't meet.

    The message names the thing, both numbers and the way out. `field` names
    the form field it belongs beside, when there is one.

    Where it may be shown in another language, `message` is marked with `N_` and has named places, and `said` is what
    stands in them; it is put into words when it is read, in the language of whoever reads it.

    >>> Refusal(N_("%(warp)s has no beam yet."), warp="Warp 12").message
    'Warp 12 has no beam yet.'
    """

    # The framework's own, once there is one: a room knows none.
    in_words: Callable[[str], str] = staticmethod(lambda words: words)

    def __init__(self, message: str, *, field: str | None = None, **said: Any) -> None:
        super().__init__(message % said if said else message)
        self._message, self._said = message, said
        self.field = field

    @property
    def message(self) -> str:
        if not self._said:
            return self.in_words(self._message) if self._message else ""
        return self.in_words(self._message) % {name: self._shown(value) for name, value in self._said.items()}

    def _shown(self, value: Any) -> str:
        if isinstance(value, Word):
            return self.in_words(value)
        if isinstance(value, Several):
            return ", ".join(map(self._shown, value))
        if isinstance(value, Refusal):
            return value.message
        if isinstance(value, Decimal):
            return f"{value:f}".replace(".", written_now().decimal)
        return str(getattr(value, "called", value))


def in_words(sentence: str, **said: Any) -> str:
    """A sentence of a room, marked with `N_`, in the language of whoever reads it now.

    >>> in_words(N_("%(n)s of %(all)s pieces."), n=2, all=3)
    '2 of 3 pieces.'
    >>> in_words(N_("%(hours)s h."), hours=Decimal("1.5E+2"))
    '150 h.'
    """
    return Refusal(sentence, **said).message
