"""Form fields for what only weavers write: counts, reeds, lists of percentages, faults of a piece."""

import re
from decimal import ROUND_FLOOR, Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.yarn import Count, read_count
from mill.fields import MeasureField, MeasureInput, measured, within
from mill.refusal import N_, Refusal, Word
from mill.signs import written_now
from mill.units import MEASURES, read, typed
from planning.piece import Fault
from planning.sett import read_reed

_PARTS = re.compile(r"\s*[+;\n]\s*|,\s+")
MOST_LETTERS = 5_000


def parts_of(text: str, *, most: int, things: str) -> list[str]:
    """What a person joined by +, by ; or by a comma and a space, or wrote on lines of its own."""
    said: dict[str, Any] = {"most": most, "things": Word(things)}
    if len(text) > MOST_LETTERS:
        raise Refusal(N_("That is %(n)s letters long. Write %(most)s %(things)s at most."), n=len(text), **said)
    parts = [part for part in _PARTS.split(text.strip()) if part]
    if len(parts) > most:
        raise Refusal(N_("There are %(n)s %(things)s. Write %(most)s at most."), n=len(parts), **said)
    return parts


class WrittenField(forms.Field):
    """A field that reads what is typed with `read`; a refusal stands beside it."""

    widget: type[forms.Widget] | forms.Widget = forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})
    unit: Any = ""

    def read(self, text: str) -> Any:
        raise NotImplementedError

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values:
            return self.nothing()
        try:
            return self.read(str(value))
        except Refusal as refusal:
            raise ValidationError(refusal.message, code="unreadable") from refusal

    def nothing(self) -> Any:
        return None


class CountField(WrittenField):
    """A yarn's count, as an inventory.yarn.Count: 16 ysw, 2/48 nw, R 60/2 tex."""

    def read(self, text: str) -> Count:
        return read_count(text)

    def prepare_value(self, value: Any) -> Any:
        return value.notation if isinstance(value, Count) else value


class CountsField(WrittenField):
    """Several counts, joined by +."""

    most = 12

    def read(self, text: str) -> tuple[Count, ...]:
        return tuple(read_count(part) for part in parts_of(text, most=self.most, things=N_("counts")))

    def nothing(self) -> tuple[Count, ...]:
        return ()


class WholeField(MeasureField):
    """A whole number of something: ends, picks, pieces. Its own word may follow it."""

    def __init__(self, *, unit: str = "number", **kwargs: Any) -> None:
        super().__init__(**{"unit": unit, "places": 0, **kwargs})

    def to_python(self, value: Any) -> Decimal | int | None:
        if value in self.empty_values:
            return None
        text = str(value).strip()
        if self.canonical == "number" and self.unit:
            text = re.sub(rf"(?<=\d)\s*{re.escape(self.unit.rstrip('s'))}s?$", "", text)
        try:
            number = read(text, self.canonical, signed=True)
        except Refusal as refusal:
            raise ValidationError(refusal.message, code="unreadable") from refusal
        if number != int(number):
            said = f"{typed(number)} {self.unit}".rstrip()
            raise ValidationError(_("%(number)s can't be: write a whole number.") % {"number": said}, code="not_whole")
        return int(number)


class SettField(MeasureField):
    """Ends or picks to the cm. The last place is cut: 80 picks/in over 36 in are 2880 picks, and not one more."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"unit": "per_cm", **kwargs})

    def to_python(self, value: Any) -> Decimal | int | None:
        if value in self.empty_values:
            return None
        try:
            return _cut(read(str(value), self.canonical), self.places)
        except Refusal as refusal:
            raise ValidationError(refusal.message, code="unreadable") from refusal


def _cut(value: Decimal, places: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_FLOOR)


class NumbersField(WrittenField):
    """Several measures of one unit, joined by +: 8 % + 2 %. Bounds as those of MeasureField, for each."""

    widget = MeasureInput
    most = 30

    def __init__(
        self,
        *,
        unit: str,
        min_value: Decimal | int | None = None,
        below: Decimal | int | None = None,
        places: int = 3,
        **kwargs: Any,
    ) -> None:
        self.canonical = unit
        self.unit: Any = gettext_lazy(written) if (written := MEASURES[unit].written) else ""
        self.min_value, self.below, self.places = min_value, below, places
        super().__init__(**kwargs)

    def read(self, text: str) -> tuple[Decimal | int, ...]:
        found = []
        for part in parts_of(text, most=self.most, things=N_("numbers")):
            number = measured(part, self.canonical, self.places, min_value=self.min_value)
            within(number, self.unit, min_value=self.min_value, below=self.below)
            found.append(number)
        return tuple(found)

    def nothing(self) -> tuple[Decimal, ...]:
        return ()


class ReedField(WrittenField):
    """A reed as it is stamped or said, in dents to 10 cm: 63 per 10 cm, Stockport 40, 16 dents/in; bare, 63.

    The sixth place is cut, as in SettField: 38 in of Stockport 32 are 608 dents, and not 609.
    """

    unit: Any = gettext_lazy(MEASURES["dents_per_10cm"].written)
    least, most, places = Decimal(1), Decimal(400), 6

    def read(self, text: str) -> Decimal:
        dents = self._dents(text)
        within(dents, self.unit, min_value=self.least, max_value=self.most)
        return dents

    def _dents(self, text: str) -> Decimal:
        try:
            return _cut(read(text, "dents_per_10cm"), self.places)
        except Refusal:
            # A name that is no unit of measure is the name of a reed system.
            if not re.search(r"[A-Za-z]{4}", text) or re.search(r"\b(?:dents?|splits?|ends?)\b", text, re.IGNORECASE):
                raise
        return _cut(read_reed(text), self.places)

    def prepare_value(self, value: Any) -> Any:
        return _("%(dents)s per 10 cm") % {"dents": typed(value)} if isinstance(value, Decimal) else value


_FAULT = re.compile(r"(?P<at>[^:]+):\s*(?P<length>[^:]+?)(?P<hole>\s+(?:hole|Loch))?\s*", re.IGNORECASE)


class FaultsField(WrittenField):
    """Faults as the percher writes them: place and length of each, 3.2 m: 240 mm; 41 m: 2 in hole (or Loch)."""

    most = 300

    def read(self, text: str) -> tuple[Fault, ...]:
        faults = []
        for part in parts_of(text, most=self.most, things=N_("faults")):
            found = _FAULT.fullmatch(part)
            if found is None:
                such = f"3{written_now().decimal}2 m: 240 mm"
                no_fault = N_('"%(part)s" is no fault. Write its place and its length, such as %(such)s.')
                raise Refusal(no_fault, part=part[:60], such=such)
            faults.append(Fault(read(found["at"], "m"), read(found["length"], "mm"), is_hole=bool(found["hole"])))
        return tuple(faults)

    def nothing(self) -> tuple[Fault, ...]:
        return ()
