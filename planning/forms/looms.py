from typing import Any

from django import forms
from django.utils.translation import gettext_lazy, pgettext_lazy

from inventory.forms import TriggersForm
from mill.fields import MeasureField
from mill.models import Mill
from mill.refusal import N_, Refusal
from planning.models import Beam, Closure, Loom, Reed, ShiftPattern, Warp
from planning.worktime import read_week


def clean_week(text: str) -> str:
    """Hours as a person writes them, refused in a sentence where they can't be read."""
    try:
        read_week(text)
    except Refusal as refusal:
        raise forms.ValidationError(refusal.message) from refusal
    return text


class LoomForm(forms.ModelForm):
    reed_space_cm = MeasureField(unit="cm", places=1, label=gettext_lazy("Reed space"), min_value=1)

    class Meta:
        model = Loom
        fields = [
            "code",
            "kind",
            "reed_space_cm",
            "shafts",
            "is_jacquard",
            "weft_colours",
            "max_flange_mm",
            "ppm",
            "efficiency_pct",
            "tail_cm",
            "shift_pattern",
        ]
        labels = {
            "code": gettext_lazy("Loom"),
            "kind": gettext_lazy("Kind"),
            "shafts": gettext_lazy("Shafts"),
            "is_jacquard": gettext_lazy("Jacquard"),
            "weft_colours": gettext_lazy("Weft colours"),
            "max_flange_mm": gettext_lazy("Largest beam flange (mm)"),
            "ppm": gettext_lazy("Picks a minute"),
            "efficiency_pct": gettext_lazy("Running efficiency (%)"),
            "tail_cm": gettext_lazy("Weft tail a pick (cm)"),
            "shift_pattern": pgettext_lazy("shift", "Hours"),
        }
        error_messages = {"code": {"unique": gettext_lazy("Loom with this Code already exists.")}}
        help_texts = {
            "kind": gettext_lazy("Dobby rapier, power shuttle, pedal …"),
            "shafts": gettext_lazy("0 for a jacquard."),
            "ppm": gettext_lazy("Picks a minute, running."),
            "efficiency_pct": gettext_lazy("Running efficiency: set-ups and waits apart."),
            "tail_cm": gettext_lazy("Weft cut off at each pick on a shuttleless loom."),
        }


class ReedForm(forms.ModelForm):
    width_cm = MeasureField(unit="cm", places=1, label=gettext_lazy("Width"), min_value=1)

    class Meta:
        model = Reed
        fields = ["code", "as_bought", "dents_per_10cm", "width_cm", "quantity"]
        error_messages = {"code": {"unique": gettext_lazy("Reed with this Code already exists.")}}
        labels = {
            "code": gettext_lazy("Reed"),
            "as_bought": gettext_lazy("Stamped"),
            "dents_per_10cm": gettext_lazy("Dents per 10 cm"),
        }


class BeamForm(forms.ModelForm):
    width_cm = MeasureField(unit="cm", places=1, label=gettext_lazy("Between the flanges"), min_value=1)

    class Meta:
        model = Beam
        fields = ["code", "width_cm", "barrel_mm", "flange_mm", "tare_kg", "is_in_use"]
        error_messages = {"code": {"unique": gettext_lazy("Beam with this Code already exists.")}}
        labels = {
            "code": gettext_lazy("Beam"),
            "barrel_mm": gettext_lazy("Barrel (mm)"),
            "flange_mm": gettext_lazy("Flange (mm)"),
            "tare_kg": gettext_lazy("Empty (kg)"),
            "is_in_use": gettext_lazy("In use"),
        }


class ShiftPatternForm(forms.ModelForm):
    class Meta:
        model = ShiftPattern
        fields = ["name", "hours"]
        labels = {"hours": pgettext_lazy("shift", "Hours")}
        error_messages = {"name": {"unique": gettext_lazy("Shift pattern with this Name already exists.")}}
        help_texts = {"hours": gettext_lazy("Each shift by itself: Mon-Fri 06:00-14:00, 14:00-22:00; Sat 06:00-12:00.")}

    def clean_hours(self) -> str:
        return clean_week(self.cleaned_data["hours"])


class ClosureForm(forms.ModelForm):
    class Meta:
        model = Closure
        fields = ["name", "loom", "starts_at", "stops_at"]
        labels = {
            "name": gettext_lazy("Why"),
            "loom": gettext_lazy("Loom"),
            "starts_at": gettext_lazy("From"),
            "stops_at": gettext_lazy("Until"),
        }
        help_texts = {"loom": gettext_lazy("Without one the whole mill stands.")}
        widgets = {
            "starts_at": forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
            "stops_at": forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        }


class BreakdownForm(forms.Form):
    """A loom stands from now on."""

    until = forms.DateTimeField(
        label=gettext_lazy("It stands until"),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        error_messages={"required": gettext_lazy("Say until when the loom stands; a guess can be changed later.")},
    )
    why = forms.CharField(
        label=gettext_lazy("Why"),
        max_length=80,
        error_messages={"required": gettext_lazy("Say why the loom stands, so that the next shift knows.")},
    )


class LateYarnForm(forms.Form):
    """A delivery comes on a later day."""

    expected_on = forms.DateField(
        error_messages={
            "required": gettext_lazy(
                "Say the day on which the delivery is now expected; a guess can be changed later."
            ),
            "invalid": gettext_lazy("The day can't be read. Write it as 2027-03-31."),
        }
    )


class PlaceForm(forms.Form):
    """Where a warp is to go: a loom, and the moment or the turn on it when one is said."""

    loom = forms.ModelChoiceField(
        Loom.objects.order_by("code"), label=gettext_lazy("Loom"), required=False, empty_label=gettext_lazy("Choose …")
    )
    starts_at = forms.DateTimeField(
        label=gettext_lazy("Weaving from"),
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text=gettext_lazy("Pinned to a moment it starts then and not before; the loom waits for it."),
    )
    turn = forms.IntegerField(
        label=gettext_lazy("Its turn there"),
        required=False,
        min_value=1,
        help_text=gettext_lazy("For a move: 1 is woven first; empty is last."),
    )

    def __init__(self, data: Any = None, *, warp: Warp) -> None:
        super().__init__(data, initial={"loom": warp.pin_loom, "starts_at": warp.pin_starts_at})


class MillForm(forms.ModelForm):
    thrums_m = MeasureField(unit="m", places=2, label=gettext_lazy("Thrums, once a warp"))
    header_m = MeasureField(unit="m", places=2, label=gettext_lazy("Header, once a piece"))
    beam_min_m = MeasureField(unit="m", places=1, label=gettext_lazy("Shortest warp worth winding"))

    class Meta:
        model = Mill
        # Who gets in is the owner's to say, on the page of people.
        exclude: tuple[str, ...] = ("lies_open",)
        labels = {
            "warp_waste_pct": gettext_lazy("Warp waste (%)"),
            "weft_waste_pct": gettext_lazy("Weft waste (%)"),
            "creel_load_min": gettext_lazy("Loading the creel (min)"),
            "section_change_min": gettext_lazy("From section to section (min)"),
            "drum_m_per_min": gettext_lazy("Drum (m a minute)"),
            "beaming_m_per_min": gettext_lazy("Beaming (m a minute)"),
            "doff_min": gettext_lazy("Beam off (min)"),
            "cone_g": gettext_lazy("Full cone (g)"),
            "beam_density_kg_per_m3": gettext_lazy("Yarn on the beam (kg a cubic metre)"),
            "weft_change_min": gettext_lazy("Weft change (min)"),
            "tie_in_min": gettext_lazy("Tie-in, loom stands (min)"),
            "knots_per_min": gettext_lazy("Knots a minute"),
            "draw_in_ends_per_h": gettext_lazy("Ends drawn in an hour"),
            "reed_change_min": gettext_lazy("Reed change (min)"),
            "gait_up_min": gettext_lazy("Gaiting up, beside drawing-in and reed (min)"),
            "mending_min_per_day": gettext_lazy("Mending, all menders (min a working day)"),
            "points_limit_per_100_yd2": gettext_lazy("Points of a piece that passes (in 100 square yards)"),
            "due_spread_days": gettext_lazy("Due dates that may share a warp (days)"),
            "currency": gettext_lazy("Currency"),
            "asks_in": gettext_lazy("Fields ask for"),
            "regain_authority": gettext_lazy("Regains by"),
            "freeze_days": gettext_lazy("Warps that start so soon stay (days)"),
            "dearness_of_setup": gettext_lazy("Dearness of a set-up"),
            "dearness_of_move": gettext_lazy("Dearness of a move when re-planning"),
            "useful_remainder_g": gettext_lazy("Useful remainder (g)"),
            **TriggersForm.Meta.labels,
        }

    # What each trade looks for, together; every field has its group.
    GROUPS = (
        (N_("Mill"), ("name", "currency", "language", "asks_in", "regain_authority")),
        (
            N_("Warping"),
            (
                *("thrums_m", "header_m", "warp_waste_pct", "weft_waste_pct", "ends_per_section", "creel_load_min"),
                *("section_change_min", "drum_m_per_min", "beaming_m_per_min", "doff_min", "cone_g"),
                *("beam_density_kg_per_m3", "warping_mills", "warping_hours"),
            ),
        ),
        (
            N_("Set-up"),
            (
                *("tuners", "tuner_hours", "weft_change_min", "tie_in_min", "knots_per_min", "draw_in_ends_per_h"),
                *("reed_change_min", "gait_up_min"),
            ),
        ),
        (N_("Order lines into warps"), ("due_spread_days", "beam_min_m")),
        (N_("Plans"), ("dearness_of_lateness", "dearness_of_setup", "dearness_of_move", "freeze_days")),
        (N_("Finishing"), ("mending_min_per_day", "points_limit_per_100_yd2")),
        (N_("Store"), ("useful_remainder_g", *TriggersForm.Meta.fields)),
    )

    def groups(self) -> list[dict[str, Any]]:
        """The page's fields under their headings."""
        return [{"title": title, "fields": [self[name] for name in names]} for title, names in self.GROUPS]

    def clean_warping_hours(self) -> str:
        return clean_week(self.cleaned_data["warping_hours"])

    def clean_tuner_hours(self) -> str:
        return clean_week(self.cleaned_data["tuner_hours"])
