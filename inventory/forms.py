"""What people write about the store. Masses are typed in kilograms, or with any unit, and handed on as whole grams."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, pgettext_lazy

from inventory.count_sheet import as_stored
from inventory.models import Delivery, Fibre, Place, Reservation, Supplier, Trap, Treatment, Yarn, YarnLot
from inventory.store_care import SPECIES, short_day
from inventory.treatment import FREEZING, WAYS
from inventory.yarn import REGAINS, Count, read_count, regain_called, regain_from_content_pct
from mill.fields import DayInput, MeasureField, PercentField, SeveralField, whole
from mill.models import Mill
from mill.refusal import Refusal
from mill.templatetags.mill import num

HUNDREDTH = Decimal("0.01")
FIBRES_OFFERED = 4


class WeighedField(MeasureField):
    """Kilograms, or any mass with its unit, as whole grams."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"unit": "kg", "places": 3, **kwargs})

    def clean(self, value: Any) -> int | None:
        kg = super().clean(value)
        return None if kg is None else int(kg * 1000)

    def prepare_value(self, value: Any) -> Any:
        return super().prepare_value(Decimal(value) / 1000) if isinstance(value, int) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        return super().has_changed(Decimal(initial) / 1000 if isinstance(initial, int) else initial, data)


class CountField(forms.CharField):
    """A count as it is bought, read; `clean` hands on an inventory.yarn.Count."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"max_length": 40, **kwargs})
        self.widget.attrs |= {"autocomplete": "off", "spellcheck": "false"}

    def clean(self, value: Any) -> Count | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            return read_count(text)
        except Refusal as refusal:
            raise ValidationError(refusal.message) from refusal


class DayField(forms.DateField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"widget": DayInput(), **kwargs})


def whole_number(label: Any, **kwargs: Any) -> forms.IntegerField:
    return forms.IntegerField(label=label, **{"min_value": 0, "max_value": 100_000, **kwargs})


def words(label: Any, most: int, **kwargs: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=most, **{"required": False, **kwargs})


def said(choices: Iterable[tuple[str, str]]) -> list[tuple[str, Any]]:
    """Stored words as a page's language says them."""
    return [(key, gettext_lazy(word)) for key, word in choices]


def new_key() -> str:
    """What makes a form count once, however often its button is pressed."""
    return uuid4().hex


class KeyedForm(forms.Form):
    key = forms.CharField(widget=forms.HiddenInput, max_length=56, initial=new_key)


class OnceForm(forms.ModelForm):
    """A record. A new one counts once by its key; a change needs none, for it changes nothing twice."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=56, required=False, initial=new_key)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            del self.fields["key"]

    def validate_unique(self) -> None:
        key = self.cleaned_data.get("key")
        # Told again by the same key, it is no second of its number: the verb finds the first.
        if not key or not self._meta.model._default_manager.filter(key=key).exists():
            super().validate_unique()

    @property
    def said_key(self) -> str:
        return self.cleaned_data.get("key") or ""


REGAIN, CONTENT = "regain", "content"
MOISTURE_OF = [(REGAIN, gettext_lazy("the dry mass (regain)")), (CONTENT, gettext_lazy("the whole (most meters)"))]


class MoistForm(KeyedForm):
    """A weighing that may say how moist the yarn was."""

    moisture_pct = PercentField(
        label=gettext_lazy("Moisture measured"),
        required=False,
        help_text=gettext_lazy("Then the mass is reckoned at the yarn's own regain."),
    )
    moisture_of = forms.ChoiceField(label=gettext_lazy("Moisture is of"), choices=MOISTURE_OF, required=False)

    def measured_regain_pct(self) -> Decimal | None:
        """Of the dry mass, to the hundredth; None when nobody measured."""
        return self.as_regain(self.cleaned_data.get("moisture_pct"))

    def as_regain(self, moisture_pct: Decimal | None) -> Decimal | None:
        if moisture_pct is not None and self.cleaned_data.get("moisture_of") == CONTENT:
            return regain_from_content_pct(moisture_pct).quantize(HUNDREDTH)
        return moisture_pct

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        try:
            self.measured_regain_pct()
        except Refusal as refusal:
            self.add_error("moisture_pct", refusal.message)
        return cleaned


# Records


class YarnForm(OnceForm):
    count_as_bought = CountField(
        label=gettext_lazy("Count as bought"),
        help_text=gettext_lazy("As the invoice has it: 16 ysw, 2/48 nw, Nm 2/28, R 60/2 tex."),
    )
    min_order_g = WeighedField(label=gettext_lazy("Smallest order"), initial=0, min_value=0, max_value=1_000_000)
    regain_from = forms.ChoiceField(
        label=gettext_lazy("Regain from a table"),
        required=False,
        help_text=gettext_lazy("Or write the figure agreed with the supplier, and whose."),
    )
    regain_pct = PercentField(
        label=gettext_lazy("Regain"), required=False, help_text=gettext_lazy("On the oven-dry mass.")
    )
    regain_authority = words(gettext_lazy("Regain, by whom"), 80)

    class Meta:
        model = Yarn
        fields = [
            *("code", "name", "colour", "count_as_bought", "spinning", "supplier", "min_order_g", "is_in_use"),
            *("regain_pct", "regain_authority"),
        ]
        labels = {
            "code": gettext_lazy("Yarn"),
            "name": gettext_lazy("Colour"),
            "colour": gettext_lazy("Drawn as"),
            "spinning": gettext_lazy("Spinning"),
            "supplier": gettext_lazy("Supplier"),
            "is_in_use": gettext_lazy("In use"),
        }
        help_texts = {"name": gettext_lazy("The colour's name."), "colour": gettext_lazy("On the pictures of cloths.")}
        widgets = {"colour": forms.TextInput(attrs={"type": "color"})}
        error_messages = {"code": {"unique": gettext_lazy("Yarn with this Code already exists.")}}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["spinning"].choices = said(Yarn.SPINNINGS)  # type: ignore[attr-defined]
        by = Mill.the_one().regain_authority
        self.fields["regain_from"].choices = [  # type: ignore[attr-defined]
            ("", "–"),
            *(
                (key, f"{_(regain.fibre)}, {num(regain.regain_pct, 2)} %: {regain.authority}")
                for key, regain in REGAINS.items()
                if regain.authority.startswith(by)
            ),
        ]
        shares = list(self.instance.shares.select_related("fibre")) if self.instance.pk else []
        fibres = Fibre.objects.all()
        self.rows = range(max(FIBRES_OFFERED, len(shares) + 1))
        for row in self.rows:
            share = shares[row] if row < len(shares) else None
            self.fields[f"fibre_{row}"] = forms.ModelChoiceField(
                fibres, required=False, label=gettext_lazy("Fibre"), initial=share and share.fibre_id
            )
            self.fields[f"fibre_{row}"].label_from_instance = lambda fibre: fibre.called  # type: ignore[attr-defined]
            self.fields[f"share_{row}"] = PercentField(
                required=False, label=gettext_lazy("Share"), initial=share and share.share_pct, above=0, min_value=None
            )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        count: Count | None = cleaned.get("count_as_bought")
        if count is not None:
            cleaned["count_as_bought"] = " ".join(count.text.split()) or count.notation
            self.instance.count_tex = as_stored(count.count_tex)
            if self.instance.count_tex < 1:
                self.add_error(
                    "count_as_bought",
                    _("%(count)s is %(tex)s tex; a yarn has 1 tex or more. Look at the count.")
                    % {"count": cleaned["count_as_bought"], "tex": num(self.instance.count_tex, 4)},
                )
        self._clean_regain(cleaned)
        self._clean_shares(cleaned)
        return cleaned

    def _clean_regain(self, cleaned: dict[str, Any]) -> None:
        if cleaned.get("regain_from"):
            regain = regain_called(cleaned["regain_from"])
            cleaned["regain_pct"], cleaned["regain_authority"] = regain.regain_pct, regain.authority
            return
        if cleaned.get("regain_pct") is None and "regain_pct" not in self.errors:
            self.add_error("regain_pct", _("Choose a regain from the table, or write the one agreed."))
        elif not cleaned.get("regain_authority") and "regain_authority" not in self.errors:
            self.add_error("regain_authority", _("Say whose figure it is: tables disagree by 4 % for wool."))

    def _clean_shares(self, cleaned: dict[str, Any]) -> None:
        self.shares: dict[Fibre, Decimal] = {}
        for row in self.rows:
            fibre, share_pct = cleaned.get(f"fibre_{row}"), cleaned.get(f"share_{row}")
            if fibre is None and share_pct is not None:
                said_so = _("%(pct)s %% of what? Choose the fibre.") % {"pct": num(share_pct)}
                self.add_error(f"fibre_{row}", said_so)
            elif fibre in self.shares:
                said_so = _("%(fibre)s stands twice. Write its shares together.") % {"fibre": fibre.called}
                self.add_error(f"fibre_{row}", said_so)
            elif fibre is not None and share_pct is None and f"share_{row}" not in self.errors:
                said_so = _("How much of the yarn is %(fibre)s? 100 when it is all.") % {"fibre": fibre.called}
                self.add_error(f"share_{row}", said_so)
            elif fibre is not None and share_pct is not None:
                self.shares[fibre] = share_pct

    def yarn_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.Meta.fields if not name.startswith("regain")]

    def regain_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("regain_from", "regain_pct", "regain_authority")]

    def share_fields(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[f"fibre_{row}"], self[f"share_{row}"]) for row in self.rows]

    def changed(self) -> set[str]:
        """Columns that differ from what stands; the tex follows its count, the regain its table."""
        names = set(self.changed_data)
        if "count_as_bought" in names:
            names.add("count_tex")
        if "regain_from" in names:
            names |= {"regain_pct", "regain_authority"}
        return names


class DeliveryForm(OnceForm):
    ordered_g = WeighedField(label=gettext_lazy("Ordered"), above=0, max_value=1_000_000)
    ordered_on = DayField(label=gettext_lazy("Ordered on"), required=False)
    expected_on = DayField(label=gettext_lazy("Expected on"))

    class Meta:
        model = Delivery
        fields = ["number", "yarn", "supplier", "ordered_g", "dye_lot", "ordered_on", "expected_on", "is_closed"]
        labels = {
            "number": gettext_lazy("Delivery"),
            "yarn": gettext_lazy("Yarn"),
            "supplier": gettext_lazy("Supplier"),
            "dye_lot": gettext_lazy("Dye lot"),
            "is_closed": gettext_lazy("Closed"),
        }
        help_texts = {
            "number": gettext_lazy("The number on the order or the supplier's note."),
            "dye_lot": gettext_lazy("When the supplier has named it."),
            "is_closed": gettext_lazy("Nothing more of it is to come."),
        }
        error_messages = {"number": {"unique": gettext_lazy("Delivery with this Number already exists.")}}


class SupplierForm(OnceForm):
    class Meta:
        model = Supplier
        fields = ["code", "name", "lead_time_days", "notes"]
        labels = {
            "code": gettext_lazy("Supplier"),
            "name": gettext_lazy("Name"),
            "lead_time_days": gettext_lazy("Lead time (days)"),
            "notes": gettext_lazy("Notes"),
        }
        help_texts = {"lead_time_days": gettext_lazy("From ordering to having it, calendar days.")}
        error_messages = {"code": {"unique": gettext_lazy("Supplier with this Code already exists.")}}


class FibreForm(OnceForm):
    regain_pct = PercentField(
        label=gettext_lazy("Regain"), help_text=gettext_lazy("Commercial regain, on the oven-dry mass.")
    )

    class Meta:
        model = Fibre
        fields = ["name", "is_protein", "regain_pct", "regain_authority"]
        labels = {
            "name": gettext_lazy("Fibre"),
            "is_protein": gettext_lazy("Protein"),
            "regain_authority": gettext_lazy("Regain, by whom"),
        }
        help_texts = {
            "is_protein": gettext_lazy("Wool, hair and silk, which moth larvae eat."),
            "regain_authority": gettext_lazy("The table that the regain stands in."),
        }
        error_messages = {"name": {"unique": gettext_lazy("Fibre with this Name already exists.")}}


class PlaceForm(OnceForm):
    class Meta:
        model = Place
        fields = ["code", "name", "is_dark"]
        labels = {"code": gettext_lazy("Place"), "name": gettext_lazy("Name"), "is_dark": gettext_lazy("Dark")}
        help_texts = {"is_dark": gettext_lazy("Dark and seldom disturbed: inspected sooner.")}


class TrapForm(OnceForm):
    lure_renewed_on = DayField(
        label=gettext_lazy("Lure renewed on"),
        initial=timezone.localdate,
        help_text=gettext_lazy("Its lure, or the whole trap."),
    )
    catches = forms.ChoiceField(
        label=gettext_lazy("Lure of"),
        choices=[(kind, gettext_lazy(name)) for kind, name in Trap.CATCHES],
        initial=Trap.WEBBING,
    )

    class Meta:
        model = Trap
        fields = ["code", "place", "catches", "lure_renewed_on", "is_hung"]
        labels = {
            "code": gettext_lazy("Trap"),
            "place": gettext_lazy("Hangs in"),
            "is_hung": gettext_lazy("It hangs"),
        }
        help_texts = {"code": gettext_lazy("What is written on it.")}


class TriggersForm(forms.ModelForm):
    class Meta:
        model = Mill
        fields = [
            *("store_inspect_days", "store_soon_days", "store_unmoved_days", "store_catch_trigger", "store_lure_days"),
        ]
        labels = {
            "store_inspect_days": gettext_lazy("Days between inspections"),
            "store_soon_days": gettext_lazy("Sooner, in the dark"),
            "store_unmoved_days": gettext_lazy("Days untouched"),
            "store_catch_trigger": gettext_lazy("Finds that call for action"),
            "store_lure_days": gettext_lazy("Days a lure lasts"),
        }
        help_texts = {
            "store_inspect_days": gettext_lazy("A place is looked over so often. In print: monthly to quarterly."),
            "store_soon_days": gettext_lazy(
                "So often where protein fibre lies long in the dark. Common practice, no source."
            ),
            "store_unmoved_days": gettext_lazy("Untouched for so long is long unmoved. Common practice, no source."),
            "store_catch_trigger": gettext_lazy(
                "So many found at one inspection call for action. No source: the mill's own trigger."
            ),
            "store_lure_days": gettext_lazy("A trap's lure lasts so long. From memory: see its packet."),
        }


# Yarn comes in


class ReceiveForm(MoistForm):
    delivery = forms.ModelChoiceField(
        Delivery.objects.none(),
        required=False,
        label=gettext_lazy("Delivery"),
        empty_label=gettext_lazy("none: it came without one"),
    )
    yarn = forms.ModelChoiceField(Yarn.objects.all(), label=gettext_lazy("Yarn"))
    label = words(gettext_lazy("Lot"), 30, required=True, help_text=gettext_lazy("The mill's own number on the bag."))
    dye_lot = words(gettext_lazy("Dye lot"), 40, required=True, help_text=gettext_lazy("As it stands on the cone."))
    grams = WeighedField(
        label=gettext_lazy("Net mass"), above=0, max_value=1_000_000, help_text=gettext_lazy("Without cones and bags.")
    )
    gross_g = WeighedField(
        label=gettext_lazy("Gross mass"),
        above=0,
        max_value=1_000_000,
        required=False,
        help_text=gettext_lazy("With cones and bags."),
    )
    packages = whole_number(gettext_lazy("Cones"), initial=0, required=False)
    place = forms.ModelChoiceField(Place.objects.all(), required=False, label=gettext_lazy("Where it lies"))
    received_on = DayField(label=gettext_lazy("Came on"), initial=timezone.localdate)
    measured_count = CountField(
        label=gettext_lazy("Count as measured"),
        required=False,
        help_text=gettext_lazy("When it was wrapped and weighed."),
    )
    document = words(gettext_lazy("Note it came with"), 60)
    note = words(gettext_lazy("Remark"), 200)
    is_shade_approved = forms.BooleanField(
        label=gettext_lazy("Shade compared, and right"),
        required=False,
        help_text=gettext_lazy("Nothing of the lot is held or drawn before that: it may be said later, on its page."),
    )

    field_order = (
        *("delivery", "yarn", "label", "dye_lot", "grams", "gross_g", "packages", "place", "received_on"),
        *("moisture_pct", "moisture_of", "measured_count", "document", "note", "is_shade_approved"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["delivery"].queryset = (  # type: ignore[attr-defined]
            Delivery.objects.filter(is_closed=False).select_related("yarn", "supplier").order_by("expected_on", "pk")
        )
        self.fields["delivery"].label_from_instance = lambda row: (  # type: ignore[attr-defined]
            f"{row.number}, {row.yarn}" + (f", {row.supplier}" if row.supplier else "")
        )


# Short weight


class ClaimForm(KeyedForm):
    """What was invoiced, and each lot that came as the scales and the moisture meter had it."""

    invoice = words(gettext_lazy("Invoice"), 60, help_text=gettext_lazy("Its number."))
    invoiced_g = WeighedField(
        label=gettext_lazy("Invoiced, net"),
        above=0,
        max_value=1_000_000,
        help_text=gettext_lazy("As the invoice has it, at the agreed regain."),
    )
    moisture_of = forms.ChoiceField(label=gettext_lazy("Moisture is of"), choices=MOISTURE_OF)
    note = words(gettext_lazy("Remark"), 200)

    def __init__(self, *args: Any, lots: Iterable[YarnLot], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lots = list(lots)
        for lot in self.lots:
            weighed_g = lot.weighed_g
            if weighed_g is None and lot.measured_regain_pct is None:
                weighed_g = lot.came_g  # type: ignore[attr-defined]
            self.fields[f"weighed_{lot.pk}"] = WeighedField(
                label=_("Lot %(lot)s, net") % {"lot": lot}, required=False, above=0, initial=weighed_g
            )
            self.fields[f"moisture_{lot.pk}"] = PercentField(
                label=_("Lot %(lot)s, moisture") % {"lot": lot}, required=False, initial=lot.measured_regain_pct
            )

    def rows(self) -> list[tuple[YarnLot, forms.BoundField, forms.BoundField]]:
        return [(lot, self[f"weighed_{lot.pk}"], self[f"moisture_{lot.pk}"]) for lot in self.lots]

    def head(self) -> list[forms.BoundField]:
        return [self[name] for name in ("invoice", "invoiced_g", "moisture_of", "note")]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean() or {}
        self.weighed: dict[int, tuple[int, Decimal | None]] = {}
        for lot in self.lots:
            grams, moisture_pct = cleaned.get(f"weighed_{lot.pk}"), cleaned.get(f"moisture_{lot.pk}")
            if moisture_pct is not None and cleaned.get("moisture_of") == CONTENT:
                try:
                    moisture_pct = regain_from_content_pct(moisture_pct).quantize(HUNDREDTH)
                except Refusal as refusal:
                    self.add_error(f"moisture_{lot.pk}", refusal.message)
            if grams is not None:
                self.weighed[lot.pk] = (grams, moisture_pct)
        return cleaned


class SentForm(forms.Form):
    sent_on = DayField(label=gettext_lazy("Sent on"), initial=timezone.localdate)


class AnswerForm(forms.Form):
    answered_on = DayField(label=gettext_lazy("Answered on"), initial=timezone.localdate)
    allowed_g = WeighedField(
        label=gettext_lazy("Allowed"), min_value=0, help_text=gettext_lazy("0 when the supplier refuses.")
    )
    answer = words(gettext_lazy("What they said"), 200)


class DropForm(forms.Form):
    answer = words(gettext_lazy("Why"), 200, required=True)


# Lines on a lot's page


class LotForm(KeyedForm):
    """One line about a lot; `lot` is what its choices are read from."""

    def __init__(self, *args: Any, lot: YarnLot, **kwargs: Any) -> None:
        self.lot = lot
        super().__init__(*args, **kwargs)


class HoldForm(LotForm):
    for_what = words(
        pgettext_lazy("yarn", "Held for"),
        120,
        required=True,
        help_text=gettext_lazy("Warps are held on their own page."),
    )
    grams = WeighedField(label=gettext_lazy("How much"), above=0)


def _or_sent(form: LotForm, offered: QuerySet[Reservation]) -> QuerySet[Reservation]:
    """Those offered, and the one that was sent: what became of that, by a first tap or another hand, the verb says."""
    sent = str(form.data.get("reservation", "")) if form.is_bound else ""
    either = Q(pk__in=offered.values("pk")) | Q(pk=whole(sent))
    return form.lot.reservations.filter(either)


class DrawForm(LotForm):
    reservation = forms.ModelChoiceField(
        Reservation.objects.none(),
        required=False,
        label=gettext_lazy("Out of the hold for"),
        empty_label=gettext_lazy("none: out of what is free"),
    )
    for_what = words(gettext_lazy("Drawn for"), 120, help_text=gettext_lazy("When it is not held: a sample, a mend."))
    grams = WeighedField(label=gettext_lazy("How much"), above=0)
    packages = whole_number(gettext_lazy("Cones"), initial=0, required=False)
    document = words(gettext_lazy("Ticket or note"), 60)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reservation"].queryset = _or_sent(self, self.lot.reservations.open())  # type: ignore[attr-defined]
        self.fields["reservation"].label_from_instance = lambda row: row.what.called  # type: ignore[attr-defined]


class ReturnForm(LotForm, MoistForm):
    reservation = forms.ModelChoiceField(
        Reservation.objects.none(),
        required=False,
        label=gettext_lazy("Back from"),
        empty_label=gettext_lazy("the shed"),
    )
    grams = WeighedField(label=gettext_lazy("How much"), above=0, help_text=gettext_lazy("Weighed, without cones."))
    packages = whole_number(gettext_lazy("Cones"), initial=0, required=False)
    reason = words(gettext_lazy("Remark"), 200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["reservation"].queryset = _or_sent(self, self.lot.reservations.drawn())  # type: ignore[attr-defined]
        self.fields["reservation"].label_from_instance = lambda row: row.what.called  # type: ignore[attr-defined]


class WasteForm(LotForm):
    grams = WeighedField(label=gettext_lazy("How much"), above=0)
    packages = whole_number(gettext_lazy("Cones"), initial=0, required=False)
    reason = words(gettext_lazy("Why"), 200, required=True)


class MoveForm(LotForm):
    place = forms.ModelChoiceField(Place.objects.all(), label=gettext_lazy("Where to"))
    reason = words(gettext_lazy("Remark"), 200)


class CountForm(LotForm, MoistForm):
    grams = WeighedField(
        label=gettext_lazy("Weighed"), min_value=0, help_text=gettext_lazy("All that lies there, without cones.")
    )
    reason = words(gettext_lazy("Remark"), 100)


class CorrectForm(LotForm):
    grams = WeighedField(label=gettext_lazy("What there is"), min_value=0)
    reason = words(gettext_lazy("Why"), 200, required=True)


class WhyForm(LotForm):
    """A line that says why and no grams."""

    reason = words(gettext_lazy("Why"), 180, required=True)


class StocktakeForm(MoistForm):
    """Everything that lies in a place, weighed in one go; what is left empty is not counted.

    A moisture beside a lot is that lot's; the one above is of all that have none.
    """

    def __init__(self, *args: Any, lots: Iterable[YarnLot], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lots = list(lots)
        self.fields["moisture_pct"].help_text = _("Of the lots that have no reading of their own.")
        for lot in self.lots:
            self.fields[f"weighed_{lot.pk}"] = WeighedField(
                label=_("Lot %(lot)s, weighed") % {"lot": lot.label}, required=False, min_value=0
            )
            self.fields[f"moisture_{lot.pk}"] = PercentField(
                label=_("Lot %(lot)s, moisture") % {"lot": lot.label}, required=False
            )

    def rows(self) -> list[tuple[YarnLot, forms.BoundField, forms.BoundField]]:
        return [(lot, self[f"weighed_{lot.pk}"], self[f"moisture_{lot.pk}"]) for lot in self.lots]

    def hidden(self) -> list[tuple[str, Any]]:
        """All that was typed, for the page that shows the differences to hand on."""
        return [(name, self.data.get(name, "")) for name in self.fields]

    def shown_g(self) -> dict[int, int]:
        """What the book had of each lot on the page that showed the differences, which hands that on too."""
        sent = {lot.pk: whole(self.data.get(f"book_{lot.pk}")) for lot in self.lots}
        return {pk: grams for pk, grams in sent.items() if grams is not None}

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean() or {}
        self.weighed: dict[int, tuple[int, Decimal | None]] = {}
        for lot in self.lots:
            grams, moisture_pct = cleaned.get(f"weighed_{lot.pk}"), cleaned.get(f"moisture_{lot.pk}")
            try:
                own = self.as_regain(moisture_pct)
            except Refusal as refusal:
                self.add_error(f"moisture_{lot.pk}", refusal.message)
                continue
            if grams is not None and "moisture_pct" not in self.errors:
                self.weighed[lot.pk] = (grams, self.measured_regain_pct() if own is None else own)
        return cleaned


class InspectionForm(KeyedForm):
    """What was found in a place, by species; `traps` are those that hang there."""

    on = DayField(label=gettext_lazy("Looked over on"), initial=timezone.localdate)
    note = words(gettext_lazy("What was seen and done"), 200)

    def __init__(self, *args: Any, traps: QuerySet[Trap], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, label, latin in SPECIES:
            self.fields[name] = whole_number(_(label), initial=0, help_text=latin)
        self.fields["renewed"] = SeveralField(
            traps,
            label=_("Lures renewed"),
            required=False,
            widget=forms.CheckboxSelectMultiple,
        )
        self.fields["renewed"].label_from_instance = lambda trap: (  # type: ignore[attr-defined]
            _("%(trap)s, %(catches)s, since %(on)s")
            % {"trap": trap, "catches": _(trap.get_catches_display()), "on": short_day(trap.lure_renewed_on, _)}
        )
        if not traps:
            del self.fields["renewed"]
        self.order_fields(["key", "on", *(name for name, *_ in SPECIES), "renewed", "note"])

    def found(self) -> dict[str, int]:
        return {name: self.cleaned_data[name] for name, *_ in SPECIES}


class CoreField(MeasureField):
    """Degrees Celsius, below nought with a minus."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            **{"unit": "number", "written": "°C", "min_value": -80, "max_value": 120, "places": 1, **kwargs}
        )

    def to_python(self, value: Any) -> Decimal | int | None:
        # A minus as it is printed reads as one.
        return super().to_python(value.replace("\u2212", "-") if isinstance(value, str) else value)


class TreatmentForm(KeyedForm):
    """Lots that go into the freezer or are heated: those offered, or all that lies in a place."""

    way = forms.ChoiceField(
        label=gettext_lazy("How"), choices=[(way, gettext_lazy(name)) for way, name in Treatment.WAYS]
    )
    began_on = DayField(label=gettext_lazy("Begun on"), initial=timezone.localdate)
    target_core_c = CoreField(label=gettext_lazy("Core to reach"), required=False, initial=WAYS[FREEZING].core_c)
    target_h = MeasureField(
        label=gettext_lazy("And hold for"),
        unit="number",
        written=gettext_noop("hours"),
        places=1,
        above=0,
        max_value=10_000,
        required=False,
        initial=WAYS[FREEZING].held_h,
    )
    done_by = words(gettext_lazy("Who does it"), 120, help_text=gettext_lazy("A licensed firm, or who of the mill."))
    note = words(gettext_lazy("Remark"), 200)

    def __init__(self, *args: Any, lots: Iterable[YarnLot], place: Place | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if place is None:
            offered = YarnLot.objects.filter(pk__in=[lot.pk for lot in lots]).select_related("yarn").order_by("label")
            self.fields["lots"] = SeveralField(offered, label=_("Lots"), widget=forms.CheckboxSelectMultiple)
            self.fields["lots"].label_from_instance = lambda lot: (  # type: ignore[attr-defined]
                f"{lot}, {lot.yarn}" + (f": {lot.why_quarantined}" if lot.quarantine_reason else "")
            )
        self.order_fields(["key", "lots"])


class ProbeForm(forms.Form):
    """What the probe read."""

    ended_on = DayField(label=gettext_lazy("Over on"), initial=timezone.localdate)
    core_c = CoreField(
        label=gettext_lazy("Core, at its worst"),
        required=False,
        help_text=gettext_lazy("The warmest of a freezing, the coldest of a heating."),
    )
    held_h = MeasureField(
        label=gettext_lazy("Held for"),
        unit="number",
        written=gettext_noop("hours"),
        places=1,
        min_value=0,
        max_value=10_000,
        required=False,
        help_text=gettext_lazy("That the core stayed so."),
    )
    measured_how = words(
        gettext_lazy("How it was measured"), 120, help_text=gettext_lazy("A probe in the middle of a bale.")
    )
    note = words(gettext_lazy("Remark"), 200)


class ReleaseForm(LotForm):
    """Out of quarantine, with what was done to it."""

    treatment = forms.ModelChoiceField(
        Treatment.objects.none(),
        required=False,
        label=gettext_lazy("After treatment"),
        empty_label=gettext_lazy("none that is written down"),
    )
    reason = words(gettext_lazy("Why"), 90, required=True)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = self.lot.treatments.order_by("-began_on", "-pk")
        self.fields["treatment"].queryset = rows  # type: ignore[attr-defined]
        self.fields["treatment"].label_from_instance = treatment_said  # type: ignore[attr-defined]
        done = [row for row in rows if row.ended_on]
        self.fields["treatment"].initial = done[0].pk if done else None


class ReleaseTreatedForm(KeyedForm):
    reason = words(gettext_lazy("Why"), 90, required=True)


def treatment_said(row: Treatment) -> str:
    """A treatment as a choice: what it was, and whether it met the figure in print."""
    return f"{row.called}, {_(row.get_way_display())}: {row.verdict_said or _('under way')}"


class LatenessForm(forms.Form):
    """What if every delivery comes later?"""

    late_by_days = whole_number(gettext_lazy("Deliveries late by"), initial=0, max_value=365, required=False)

    @property
    def asked_days(self) -> int:
        """What was asked, 0 where nothing was or it can't be read."""
        return (self.cleaned_data["late_by_days"] or 0) if self.is_bound and self.is_valid() else 0
