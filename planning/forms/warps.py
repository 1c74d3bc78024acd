"""What is typed about warps: the rules for combining, warps put together by hand, and the small acts on one."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.functional import lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.models import YarnLot
from mill.fields import MeasureField
from planning import combining
from planning.models import Warp, WarpYarn

KEEP, ANY = "keep", "any"
WAITING, AFRESH = "waiting", "afresh"
ROWS_MAX = 500
# A hint with its figure, put into words when it is shown.
filled_lazy = lazy(lambda words, n: str(words) % {"n": n}, str)


class WishesForm(forms.Form):
    """For a look at the proposals. What is left empty is the mill's own figure, or a start value."""

    due_spread_days = forms.IntegerField(
        min_value=0, max_value=999, required=False, label=gettext_lazy("Due dates apart at most (days)")
    )
    min_warp_m = MeasureField(
        unit="m", places=1, min_value=0, max_value=10_000, required=False, label=gettext_lazy("Shortest warp")
    )
    max_warp_m = MeasureField(
        unit="m", places=1, above=0, max_value=100_000, required=False, label=gettext_lazy("Longest warp")
    )
    min_per_kg = forms.IntegerField(
        min_value=0,
        max_value=100_000,
        required=False,
        label=gettext_lazy("A kilogram lost is worth (min)"),
        help_text=filled_lazy(
            gettext_lazy("Of set-up. %(n)s when nothing is written; from memory."), combining.MIN_PER_KG
        ),
    )
    min_per_late_day = forms.IntegerField(
        min_value=0,
        max_value=1_000_000,
        required=False,
        label=gettext_lazy("A piece a day late is worth (min)"),
        help_text=filled_lazy(
            gettext_lazy("Times its weight. %(n)s when nothing is written; from memory."), combining.MIN_PER_LATE_DAY
        ),
    )
    lines = forms.ChoiceField(
        choices=[
            (WAITING, gettext_lazy("that wait for a warp")),
            (AFRESH, gettext_lazy("also those on planned warps")),
        ],
        required=False,
        label=gettext_lazy("Lines"),
    )
    dye_lots = forms.ChoiceField(
        choices=[
            (KEEP, gettext_lazy("no longer than a dye lot on hand")),
            (ANY, gettext_lazy("as long as the beam takes")),
        ],
        required=False,
        label=gettext_lazy("Length"),
    )

    orders = forms.CharField(
        max_length=4000,
        required=False,
        label=gettext_lazy("Orders"),
        help_text=gettext_lazy("Numbers with commas between them: only what a line of theirs can be on is shown."),
    )

    def numbers(self) -> set[str]:
        """Of the orders whose lines are looked at; none for all."""
        return {number.strip() for number in self.cleaned_data.get("orders", "").split(",") if number.strip()}

    def said(self) -> dict[str, Any]:
        """What `combine.Wishes` takes."""
        cleaned = self.cleaned_data
        found = {
            name: cleaned[name]
            for name in ("due_spread_days", "min_warp_m", "max_warp_m", "min_per_kg", "min_per_late_day")
            if cleaned.get(name) is not None
        }
        return {
            **found,
            "keeps_to_dye_lots": cleaned.get("dye_lots") != ANY,
            "includes_planned": cleaned.get("lines") == AFRESH,
        }


@dataclass
class Row:
    """Pieces of a line, and the warp they go on: 1, 2, 3 …, or 0 for none."""

    line: int
    pieces: int
    warp: int
    wrong: str = ""


@dataclass
class CombineSheet:
    """Warps of one group as a planner has put them together: rows of pieces, and which warps are ticked."""

    key: str
    rows: list[Row] = field(default_factory=list)
    ticked: set[int] = field(default_factory=set)

    @classmethod
    def read(cls, data: QueryDict, available: Mapping[int, int]) -> "CombineSheet":
        """As it was sent. Lines that are not in the group are left out; numbers that can't be read say so.

        available   pieces of each line that wait
        """
        sheet = cls(data.get("group", ""))
        sheet.ticked = {int(n) for n in data.getlist("accept") if n.isdecimal()}
        columns = zip(data.getlist("line"), data.getlist("pieces"), data.getlist("warp"), strict=False)
        for line, pieces, warp in list(columns)[:ROWS_MAX]:
            if not line.isdecimal() or int(line) not in available:
                continue
            row = Row(int(line), 0, int(warp) if warp.isdecimal() and len(warp) < 4 else 0)
            if not pieces.strip().isdecimal() or len(pieces) > 6:
                no_number = _("“%(said)s” is no number of pieces. Write 1 to %(most)s.")
                row.wrong = no_number % {"said": pieces, "most": available[row.line]}
            else:
                row.pieces = int(pieces)
            sheet.rows.append(row)
        sheet._check(available)
        return sheet

    def _check(self, available: Mapping[int, int]) -> None:
        asked: dict[int, int] = {}
        for row in self.rows:
            if row.warp:
                asked[row.line] = asked.get(row.line, 0) + row.pieces
        for row in self.rows:
            if not row.wrong and row.warp and asked[row.line] > available[row.line]:
                too_many = _("%(asked)s pieces are put on warps; %(wait)s wait. Write fewer.")
                row.wrong = too_many % {"asked": asked[row.line], "wait": available[row.line]}

    def split(self, n: int) -> None:
        """The n-th row becomes two: the second half of its pieces gets a row, and a warp, of its own."""
        if not 0 <= n < len(self.rows) or self.rows[n].pieces < 2:
            return
        row = self.rows[n]
        goes = row.pieces // 2
        row.pieces -= goes
        self.rows.insert(n + 1, Row(row.line, goes, self.next_warp))

    @property
    def next_warp(self) -> int:
        return max((row.warp for row in self.rows), default=0) + 1

    def warps(self) -> dict[int, list[Row]]:
        """The rows of each warp, by its number; those of no warp left out."""
        found: dict[int, list[Row]] = {}
        for row in self.rows:
            if row.warp:
                found.setdefault(row.warp, []).append(row)
        return dict(sorted(found.items()))


class SplitForm(forms.Form):
    after = forms.IntegerField(min_value=1, label=gettext_lazy("Pieces that stay"))


class JoinForm(forms.Form):
    other = forms.ModelChoiceField(
        queryset=Warp.objects.none(), label=gettext_lazy("With"), empty_label=gettext_lazy("Choose …")
    )

    def __init__(self, *args: Any, others: Iterable[Warp] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["other"]
        assert isinstance(choice, forms.ModelChoiceField)
        choice.queryset = Warp.objects.filter(pk__in=[warp.pk for warp in others])


class PutOnForm(forms.Form):
    line = forms.IntegerField(label=gettext_lazy("Line"))
    pieces = forms.IntegerField(min_value=1, label=gettext_lazy("Pieces"))


class NoteForm(forms.Form):
    note = forms.CharField(max_length=200, required=False, label=gettext_lazy("It stands on the ticket"))


class StepBackForm(forms.Form):
    reason = forms.CharField(max_length=100, label=gettext_lazy("Why it was not so after all"))
    seen_state = forms.ChoiceField(choices=Warp.STATES, widget=forms.HiddenInput)


class HoldLotForm(forms.Form):
    """So much of one lot, named by a person."""

    use = forms.ChoiceField(choices=WarpYarn.USES, widget=forms.HiddenInput)
    lot = forms.ModelChoiceField(queryset=YarnLot.objects.all(), to_field_name="label", label=gettext_lazy("Lot"))
    grams = MeasureField(unit="g", places=0, above=0, label=gettext_lazy("Grams"))


def chosen_dye_lots(data: QueryDict) -> dict[tuple[str, int], str]:
    """The dye lot chosen for each need: `dye-lot-warp-17` is that of the warp yarn with primary key 17."""
    found: dict[tuple[str, int], str] = {}
    for name, dye_lot in data.items():
        _, _, rest = name.partition("dye-lot-")
        use, _, yarn = rest.partition("-")
        if use in dict(WarpYarn.USES) and yarn.isdecimal() and dye_lot:
            found[use, int(yarn)] = str(dye_lot)
    return found
