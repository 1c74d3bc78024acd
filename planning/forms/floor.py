from typing import Any

from django import forms

from mill.fields import MeasureField, PercentField
from planning.models import FloorEvent

# Which of the page's fields belong to what is told, and what they are called in the event.
FACTS: dict[str, dict[str, str]] = {
    FloorEvent.PIECE_OFF: {"length_m": "length_m"},
    FloorEvent.WEFT_CHANGED: {"weft_lot": "lot"},
    FloorEvent.YARN_RETURNED: {"back_lot": "lot", "grams": "grams"},
    FloorEvent.PICKS: {"picks": "picks"},
    FloorEvent.UNDONE: {"why": "why"},
}


class FloorForm(forms.Form):
    """What a person tells by pressing one button of the page; what is written beside the others does not count.

    The button's own value is the kind, for a stop with its reason: "stopped:weft break".
    """

    key = forms.CharField(max_length=60)
    kind = forms.CharField(max_length=40)
    worker = forms.CharField(max_length=8, required=False)
    length_m = MeasureField(unit="m", above=0, places=2, required=False)
    weft_lot = forms.CharField(max_length=30, required=False)
    back_lot = forms.CharField(max_length=30, required=False)
    grams = MeasureField(unit="g", min_value=1, places=0, required=False)
    picks = MeasureField(unit="number", min_value=0, places=0, required=False)
    why = forms.CharField(max_length=100, required=False)
    undoes = forms.IntegerField(required=False)
    undoes_key = forms.CharField(max_length=60, required=False)

    def __init__(self, data: Any, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        told, _, self.reason = str(data.get("kind", "")).partition(":")
        kept = {"key", "kind", "worker", "undoes", "undoes_key", *FACTS.get(told, {})}
        for name in set(self.fields) - kept:
            del self.fields[name]

    def clean_kind(self) -> str:
        return str(self.cleaned_data["kind"]).partition(":")[0]

    @property
    def facts(self) -> dict[str, Any]:
        """What belongs to the kind, and was said."""
        said = self.cleaned_data
        found = {name: said.get(field) for field, name in FACTS.get(said["kind"], {}).items()}
        if said["kind"] == FloorEvent.STOPPED:
            found["reason"] = self.reason
        return {name: value for name, value in found.items() if value not in (None, "")}


class EfficiencyForm(forms.Form):
    efficiency_pct = PercentField(min_value=5)
