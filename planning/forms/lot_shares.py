"""What is sent from the sheet on which lots are shared out: choices, ticks, and the lots as they were seen."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy

from mill.refusal import N_, Refusal
from planning.models import WarpYarn

# Number of the warp, use, primary key of the yarn.
Key = tuple[int, str, int]
# Primary key of the lot, grams, pieces.
Taken = tuple[int, int, tuple[int, ...]]


class LookForm(forms.Form):
    """Which of the yarns are looked at."""

    yarn = forms.CharField(required=False, max_length=80, label=gettext_lazy("Yarn"))
    warp = forms.IntegerField(required=False, min_value=1, max_value=999_999_999, label=gettext_lazy("Warp"))
    show = forms.ChoiceField(
        choices=[("", gettext_lazy("all that is to be held")), ("short", gettext_lazy("what is short"))],
        required=False,
        label=gettext_lazy("Show"),
    )


def read_key(text: str) -> Key | None:
    """
    >>> read_key("118-weft-7"), read_key("118-loom-7")
    ((118, 'weft', 7), None)
    """
    parts = text.split("-")
    if len(parts) != 3 or parts[1] not in dict(WarpYarn.USES):
        return None
    number, use, yarn = parts
    return (int(number), use, int(yarn)) if _is_number(number) and _is_number(yarn) else None


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 10


def write_takes(takes: Any) -> str:
    """Lots as a hidden field carries them: lot, grams, pieces."""
    return ",".join(f"{take.lot.pk}:{take.grams}:{'.'.join(map(str, take.pieces))}" for take in takes)


def read_takes(text: str) -> tuple[Taken, ...]:
    """
    >>> read_takes("31:5000:1.2,32:700:")
    ((31, 5000, (1, 2)), (32, 700, ()))
    """
    found = []
    for part in filter(None, text.split(",")):
        words = part.split(":")
        pieces = words[2].split(".") if len(words) == 3 and words[2] else []
        if len(words) != 3 or not all(map(_is_number, (*words[:2], *pieces))):
            raise Refusal(N_("The lots on the sheet can't be read any more. Load the page again."))
        found.append((int(words[0]), int(words[1]), tuple(map(int, pieces))))
    return tuple(found)


@dataclass(frozen=True)
class Sheet:
    """The sheet as it was sent.

    chosen       the dye lot chosen for a need, where it is another than the proposed
    is_changed   a choice is another than when the lots on the sheet were worked out
    ticked       needs whose lots are to be held, and the lots as they were seen
    offered      needs that could be ticked
    """

    chosen: Mapping[Key, str]
    is_changed: bool
    ticked: Mapping[Key, tuple[Taken, ...]]
    offered: Collection[Key]

    @classmethod
    def read(cls, data: QueryDict) -> "Sheet":
        chosen: dict[Key, str] = {}
        is_changed = False
        for name in data:
            if name.startswith("dye-lot-") and (key := read_key(name.removeprefix("dye-lot-"))):
                dye_lot = data.get(name, "")[:40]
                if dye_lot:
                    chosen[key] = dye_lot
                is_changed |= dye_lot != data.get(f"was-{name.removeprefix('dye-lot-')}", "")
        ticked = {}
        for text in data.getlist("hold"):
            if key := read_key(text):
                ticked[key] = read_takes(data.get(f"lots-{text}", ""))
        offered = {key for name in data if name.startswith("lots-") and (key := read_key(name.removeprefix("lots-")))}
        return cls(chosen, is_changed, ticked, offered)

    def is_ticked(self, key: Key) -> bool:
        """What could not be ticked before counts as ticked."""
        return key in self.ticked or key not in self.offered
