"""What is typed into a cloth: the specification, its finishing route, and the yarns of its colourways."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.models import Yarn
from mill import units
from mill.fields import MeasureField, MeasureInput, PercentField
from mill.models import Mill
from mill.refusal import Refusal
from planning import cloth as cloth_room
from planning import finishing, sett, weave
from planning.models import Cloth, ClothSpec, Colourway, ColourwayYarn, Reed, RouteStep

FINISHED, IN_THE_LOOM = "finished", "loom"
BLANK_STEPS = 3
STEPS_MAX = 40
COLOURWAYS_MAX = 40
# The finisher's words, offered while typing; any other will do.
STEP_NAMES = (
    "grey perch",
    "burl and mend",
    "scour",
    "mill",
    "wash off",
    "hydro-extract",
    "tenter and dry",
    "raise",
    "crop",
    "press",
    "decatise",
    "final perch",
)

# Percentages that people reckon on two bases: (base kept, base accepted, how the second becomes the first).
# A share of what is left becomes a share of what there was, or the other way about.
Conversion = Callable[[Decimal], Decimal]
BASES: dict[str, tuple[Any, Any, Conversion]] = {
    "warp_crimp_pct": (
        gettext_lazy("of cloth (crimp)"),
        gettext_lazy("of yarn (take-up)"),
        cloth_room.crimp_pct_from_take_up,
    ),
    "weaving_contraction_pct": (
        gettext_lazy("of reed width"),
        gettext_lazy("of grey width"),
        finishing.loss_pct_from_allowance,
    ),
    "warp_waste_pct": (
        gettext_lazy("of yarn issued"),
        gettext_lazy("of yarn woven"),
        finishing.loss_pct_from_allowance,
    ),
    "weft_waste_pct": (
        gettext_lazy("of yarn issued"),
        gettext_lazy("of yarn woven"),
        finishing.loss_pct_from_allowance,
    ),
    "size_add_on_pct": (
        gettext_lazy("of unsized yarn"),
        gettext_lazy("of sized yarn"),
        cloth_room.crimp_pct_from_take_up,
    ),
}
ROUTE_BASE = (
    gettext_lazy("of what enters the step"),
    gettext_lazy("of what leaves the step"),
    finishing.loss_pct_from_allowance,
)
KEPT, OTHER = "kept", "other"
HUNDREDTH = Decimal("0.01")


def on_kept_base(pct: Decimal, convert: Conversion) -> Decimal:
    """A percentage on the other base, on the one that is kept, to 0.01 %.

    >>> on_kept_base(Decimal("7"), BASES["warp_crimp_pct"][2]), on_kept_base(Decimal("25"), ROUTE_BASE[2])
    (Decimal('7.53'), Decimal('20.00'))
    """
    return convert(pct).quantize(HUNDREDTH, ROUND_HALF_UP)


class ReedField(forms.CharField):
    """A reed as it is counted, stamped or called: 42.3, 16 dents/in, Stockport 40, or the code of one of the mill's."""

    unit = gettext_lazy("dents per 10 cm")

    def to_python(self, value: Any) -> Any:
        text = str(super().to_python(value) or "").strip()
        if not text:
            return None
        if own := Reed.objects.filter(code__iexact=text).first():
            return own.dents_per_10cm
        try:
            dents = read_reed(text)
        except Refusal as refusal:
            raise forms.ValidationError(refusal.message, code="unreadable") from refusal
        if not 1 <= dents < 1000:
            raise forms.ValidationError(
                _("%(dents)s dents per 10 cm is no reed: write 1 to 1000.") % {"dents": units.typed(dents)}
            )
        return dents

    def prepare_value(self, value: Any) -> Any:
        return units.typed(value) if isinstance(value, Decimal) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        return self.prepare_value(initial) != data


def read_reed(text: str) -> Decimal:
    """Dents in 10 cm, of a number, a number with its unit, or a reed system's own number.

    >>> read_reed("42.3"), read_reed("16 dents/in"), read_reed("Stockport 40")
    (Decimal('42.300'), Decimal('62.992'), Decimal('78.740'))
    """
    try:
        dents = units.read(text, "dents_per_10cm")
    except Refusal:
        dents = sett.read_reed(text)
    return dents.quantize(Decimal("0.001"), ROUND_HALF_UP)


class SpecForm(forms.Form):
    """A revision's own columns, named as in ClothSpec; what was typed on another base is handed on on ours."""

    based_on = forms.IntegerField(required=False, widget=forms.HiddenInput)

    finished_width_cm = MeasureField(
        unit="cm", places=1, min_value=1, max_value=10_000, label=gettext_lazy("Finished width")
    )
    reed_dents_per_10cm = ReedField(
        label=gettext_lazy("Reed"),
        help_text=gettext_lazy("Dents per 10 cm, a reed of the mill, or as stamped: Stockport 40, 16 dents/in."),
    )
    ends_per_dent = forms.IntegerField(min_value=1, max_value=50, initial=2, label=gettext_lazy("Ends per dent"))
    loom_picks_per_cm = MeasureField(unit="per_cm", places=3, above=0, max_value=1000, label=gettext_lazy("Picks"))
    picks_are = forms.ChoiceField(
        choices=[(IN_THE_LOOM, gettext_lazy("in the loom")), (FINISHED, gettext_lazy("finished"))],
        required=False,
        label=gettext_lazy("Picks are counted"),
    )
    selvedge_ends = forms.IntegerField(
        min_value=0,
        max_value=10_000,
        initial=0,
        label=gettext_lazy("Selvedge ends"),
        help_text=gettext_lazy("Both sides together."),
    )
    selvedge_letter = forms.CharField(
        max_length=1,
        required=False,
        label=gettext_lazy("Selvedge yarn"),
        help_text=gettext_lazy("Its letter; without one, the first of the warp."),
    )
    whole_repeats = forms.BooleanField(
        required=False,
        label=gettext_lazy("Whole repeats only"),
        help_text=gettext_lazy("The ground ends with a whole repeat."),
    )

    warp_order = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), label=gettext_lazy("Warp order"))
    weft_order = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), label=gettext_lazy("Weft order"))
    usual_weave = forms.ChoiceField(
        required=False,
        choices=[("", gettext_lazy("as written below")), *((name, gettext_lazy(name)) for name in weave.PRESETS)],
        label=gettext_lazy("Weave"),
        help_text=gettext_lazy("A weave chosen here is written into threading and lifting."),
    )
    threading = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), label=gettext_lazy("Threading"))
    lifting = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), label=gettext_lazy("Lifting"))

    warp_crimp_pct = PercentField(
        below=100,
        initial=Decimal(7),
        label=gettext_lazy("Warp crimp"),
        help_text=gettext_lazy("4 to 12, from memory: measure a piece."),
    )
    weaving_contraction_pct = PercentField(
        below=99,
        initial=Decimal(6),
        label=gettext_lazy("Weaving contraction"),
        help_text=gettext_lazy("3 to 10, from memory: measure a piece."),
    )
    warp_waste_pct = PercentField(below=99, label=gettext_lazy("Warp waste"))
    weft_waste_pct = PercentField(below=99, label=gettext_lazy("Weft waste"))
    size_add_on_pct = PercentField(below=100, initial=Decimal(0), label=gettext_lazy("Size add-on"))

    finishing_days = forms.IntegerField(
        min_value=0,
        max_value=366,
        initial=10,
        label=gettext_lazy("Finishing days"),
        help_text=gettext_lazy("From the loom to ready, working days."),
    )
    note = forms.CharField(max_length=200, required=False, label=gettext_lazy("What changed, and why"))

    orders_hint = gettext_lazy("Letters with numbers; brackets repeat: (A4 B4)x6 A4.")
    hints = {
        "finished_width_cm": gettext_lazy("Between the selvedges: 150 cm, 59 in."),
        "loom_picks_per_cm": gettext_lazy("9.45, or 24 picks/in."),
        "warp_order": orders_hint,
        "weft_order": orders_hint,
        "threading": gettext_lazy("The shaft of each end: 1 2 3 4; 1-4 runs up, (1-4)x3 repeats."),
        "lifting": gettext_lazy("The shafts lifted on each pick, joined by +: 1+2 2+3 3+4 1+4."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, (kept, other, _convert) in BASES.items():
            self.fields[f"{name}_base"] = forms.ChoiceField(
                choices=[(KEPT, kept), (OTHER, other)],
                required=False,
                label=_("%(what)s is a share") % {"what": self.fields[name].label},
            )
        for name, hint in self.hints.items():
            self.fields[name].help_text = hint
        for name in ("warp_order", "weft_order", "threading", "lifting"):
            self.fields[name].widget.attrs["spellcheck"] = "false"
        self.fields["reed_dents_per_10cm"].widget.attrs |= {"list": "reeds", "autocomplete": "off"}

    def _with_base(self, *names: str) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[name], self[f"{name}_base"]) for name in names]

    @property
    def losses(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Crimp and contraction, each with the base it is a share of."""
        return self._with_base("warp_crimp_pct", "weaving_contraction_pct")

    @property
    def allowances(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Waste and size, each with the base it is a share of."""
        return self._with_base("warp_waste_pct", "weft_waste_pct", "size_add_on_pct")

    def clean_selvedge_letter(self) -> str:
        return str(self.cleaned_data["selvedge_letter"]).upper()

    def clean_warp_order(self) -> str:
        return self._read("warp_order", cloth_room.read_order)

    def clean_weft_order(self) -> str:
        return self._read("weft_order", cloth_room.read_order)

    def clean_threading(self) -> str:
        return self._read("threading", weave.read_threading)

    def clean_lifting(self) -> str:
        return self._read("lifting", weave.read_lifting)

    def _read(self, name: str, read: Callable[[str], Any]) -> str:
        text = str(self.cleaned_data[name]).strip()
        try:
            read(text)
        except Refusal as refusal:
            raise forms.ValidationError(refusal.message, code="unreadable") from refusal
        return text

    def clean(self) -> dict[str, Any] | None:
        for name, (_kept, _other, convert) in BASES.items():
            pct = self.cleaned_data.get(name)
            if pct is not None and self.cleaned_data.get(f"{name}_base") == OTHER:
                self._put_on_kept_base(name, pct, convert)
        return self.cleaned_data

    def _put_on_kept_base(self, name: str, pct: Decimal, convert: Conversion) -> None:
        try:
            kept = on_kept_base(pct, convert)
        except Refusal as refusal:
            self.add_error(name, refusal.message)
            return
        if kept >= 100:
            said = {"pct": units.typed(pct), "base": BASES[name][1], "kept": units.typed(kept), "of": BASES[name][0]}
            self.add_error(name, _("%(pct)s %% %(base)s is %(kept)s %% %(of)s.") % said)
            return
        self.cleaned_data[name] = kept

    def columns(self, *, length_shrink_pct: Decimal) -> dict[str, Any]:
        """The columns of ClothSpec; picks counted in the finished cloth stand wider apart in the loom."""
        names = [name for name in self.cleaned_data if hasattr(ClothSpec, name) and name != "note"]
        columns = {name: self.cleaned_data[name] for name in names}
        if self.cleaned_data["picks_are"] == FINISHED:
            picks = cloth_room.sett_before(threads_per_cm=columns["loom_picks_per_cm"], shrink_pct=length_shrink_pct)
            columns["loom_picks_per_cm"] = picks.quantize(Decimal("0.001"), ROUND_HALF_UP)
        return columns


class StepForm(forms.Form):
    """A step of the route. A row without a name is no step."""

    position = forms.DecimalField(
        required=False,
        max_digits=5,
        decimal_places=2,
        localize=True,
        label=gettext_lazy("No."),
        widget=MeasureInput(attrs={"size": 3}),
    )
    name = forms.CharField(
        required=False,
        max_length=60,
        label=gettext_lazy("Step"),
        widget=forms.TextInput(attrs={"list": "steps", "autocomplete": "off"}),
    )
    width_shrink_pct = PercentField(required=False, min_value=-50, max_value=99, label=gettext_lazy("Width"))
    length_shrink_pct = PercentField(required=False, min_value=-50, max_value=99, label=gettext_lazy("Length"))
    mass_loss_pct = PercentField(required=False, max_value=99, label=gettext_lazy("Mass"))
    note = forms.CharField(required=False, max_length=120, label=gettext_lazy("Note"))

    percentages = ("width_shrink_pct", "length_shrink_pct", "mass_loss_pct")
    said = ("name", *percentages, "note")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.percentages:
            self.fields[name].widget.attrs["size"] = 5

    def clean(self) -> dict[str, Any] | None:
        has_more = any(self.cleaned_data.get(name) for name in (*self.percentages, "note"))
        if has_more and not self.cleaned_data.get("name"):
            self.add_error("name", _("This step has figures and no name. Write what is done: scour, mill, press."))
        return self.cleaned_data

    def step(self, *, is_of_what_leaves: bool) -> cloth_room.RouteStep | None:
        """The step as the rooms know it, if there is one; adds what is wrong with it to the row."""
        name = self.cleaned_data.get("name")
        if not name or self.errors:
            return None
        shares = [self.cleaned_data[column] or Decimal(0) for column in self.percentages]
        try:
            if is_of_what_leaves:
                shares = [on_kept_base(pct, ROUTE_BASE[2]) for pct in shares]
            return cloth_room.RouteStep(name, shares[0], shares[1], shares[2], self.cleaned_data["note"])
        except Refusal as refusal:
            self.add_error("name", refusal.message)
            return None


class YarnField(forms.CharField):
    """A yarn by its code; what stands behind the code, its name, may be left standing."""

    def __init__(self, yarns: Mapping[str, Yarn], **kwargs: Any) -> None:
        self.yarns = yarns
        attrs = {"list": "yarns", "autocomplete": "off", "size": 10, "spellcheck": "false"}
        super().__init__(required=False, widget=forms.TextInput(attrs=attrs), **kwargs)

    def to_python(self, value: Any) -> Any:
        text = str(super().to_python(value) or "").strip()
        if not text:
            return None
        found = self.yarns.get(text.casefold()) or self.yarns.get(text.split()[0].casefold())
        if found is None:
            raise forms.ValidationError(
                _("There is no yarn %(yarn)s. Choose one by its code.") % {"yarn": text}, code="unknown"
            )
        return found

    def prepare_value(self, value: Any) -> Any:
        return value.code if isinstance(value, Yarn) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        return self.prepare_value(initial) != data


class ColourwayForm(forms.Form):
    """One column of the table of yarns: a colourway's name and its yarn at each letter."""

    colourway_id = forms.IntegerField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(
        required=False, max_length=60, label=gettext_lazy("Colourway"), widget=forms.TextInput(attrs={"size": 12})
    )

    def __init__(self, *args: Any, letters: Sequence[str], yarns: Mapping[str, Yarn], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.letters = letters
        for letter in letters:
            self.fields[letter] = YarnField(yarns, label=_("Yarn at %(letter)s") % {"letter": letter})

    @property
    def cells(self) -> list[forms.BoundField]:
        return [self[letter] for letter in self.letters]

    def clean(self) -> dict[str, Any] | None:
        if self.has_yarns and not self.cleaned_data.get("name"):
            self.add_error("name", _("This colourway has yarns and no name."))
        return self.cleaned_data

    @property
    def chosen(self) -> dict[str, Yarn]:
        """Yarns that stand in the table and could be read, by letter."""
        if self.is_bound:
            # Cleans it: what could be read then stands in cleaned_data, whatever else is wrong.
            self.is_valid()
        said = self.cleaned_data if self.is_bound else self.initial
        return {letter: said[letter] for letter in self.letters if said.get(letter)}

    @property
    def has_yarns(self) -> bool:
        return any(self.cleaned_data.get(letter) for letter in self.letters)

    def said(self) -> dict[str, Any]:
        return {
            "name": self.cleaned_data["name"],
            "colourway_id": self.cleaned_data["colourway_id"],
            "yarns": {letter: self.cleaned_data[letter] for letter in self.letters if self.cleaned_data.get(letter)},
        }


class WholeColourwayForm(ColourwayForm):
    """A colourway by itself: nothing of it may be left out."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("name", *self.letters):
            self.fields[name].required = True


class ClothForm(forms.ModelForm):
    class Meta:
        model = Cloth
        fields = ["code", "name", "is_in_use"]
        labels = {
            "code": gettext_lazy("Code"),
            "name": gettext_lazy("Name"),
            "is_in_use": gettext_lazy("In use"),
        }
        help_texts = {"code": gettext_lazy("Letters, figures, full stops and hyphens: HER7.")}


class NewClothForm(ClothForm):
    class Meta(ClothForm.Meta):
        fields = ["code", "name"]


class ColourwayNameForm(forms.ModelForm):
    class Meta:
        model = Colourway
        fields = ["name"]
        labels = {"name": gettext_lazy("Name")}


class ClothSheet:
    """The whole page that a revision is written on: specification, route and table of yarns, bound or not.

    spec    the revision that it begins from, with its yarns
    cloth   whose colourways stand in the table; None for a new cloth
    """

    def __init__(
        self, data: QueryDict | None = None, *, spec: ClothSpec | None = None, cloth: Cloth | None = None
    ) -> None:
        self.has_filled_in_weave = data is not None and data.get("usual_weave") in weave.PRESETS
        data = with_usual_weave(data) if data is not None else None
        self.data = data
        self.is_bound = data is not None
        initial: dict[str, Any] = {"based_on": spec.revision} if spec and cloth else {}
        if spec is None and data is None:
            mill = Mill.the_one()
            initial = {"warp_waste_pct": mill.warp_waste_pct, "weft_waste_pct": mill.weft_waste_pct}
        if spec:
            initial |= {name: getattr(spec, name) for name in SpecForm.base_fields if hasattr(spec, name)}
            initial.pop("note", None)
        self.spec_form = SpecForm(data, initial=initial)
        self.yarns = yarns_by_code(spec)
        self.route_base = data.get("route_base", KEPT) if data is not None else KEPT
        self.steps = self._steps(spec)
        written = self._written(spec, cloth)
        self.letters = self._letters(spec, written)
        self.colourways = self._colourways(written)

    # The route

    def _steps(self, spec: ClothSpec | None) -> list[StepForm]:
        if self.data is not None:
            filled = [n for n in range(STEPS_MAX) if any(self.data.get(f"step-{n}-{name}") for name in StepForm.said)]
            shown = min(STEPS_MAX, max(filled, default=-1) + 1 + BLANK_STEPS)
            return [StepForm(self.data, prefix=f"step-{n}") for n in range(shown)]
        written: list[RouteStep] = list(spec.route_steps.all()) if spec else []
        rows = [
            {"position": n, **{name: getattr(step, name) for name in StepForm.said}}
            for n, step in enumerate(written, start=1)
        ]
        blank: list[dict[str, Any]] = [{} for _ in range(BLANK_STEPS)]
        return [StepForm(prefix=f"step-{n}", initial=row) for n, row in enumerate([*rows, *blank])]

    @property
    def is_route_of_what_leaves(self) -> bool:
        return self.route_base == OTHER

    def route(self) -> list[cloth_room.RouteStep]:
        """The steps in the order of their numbers; one without a number stands where it was written."""
        placed: list[tuple[Decimal, cloth_room.RouteStep]] = []
        last = Decimal(0)
        for row in self.steps:
            step = row.step(is_of_what_leaves=self.is_route_of_what_leaves)
            if step:
                at = row.cleaned_data.get("position")
                last = at if at is not None else last
                placed.append((last, step))
        return [step for _, step in sorted(placed, key=lambda pair: pair[0])]

    # The table of yarns

    def _written(self, spec: ClothSpec | None, cloth: Cloth | None) -> list[dict[str, Any]]:
        """Columns to begin from: every colourway of the cloth, with the yarns that the revision has for it."""
        entries = list(spec.colourway_yarns.all()) if spec else []
        if cloth is None:
            names = sorted({entry.colourway.name for entry in entries})
            return [{"name": name, **_yarns(entries, name)} for name in names] or [{}]
        written = cloth.colourways.all()
        return [{"colourway_id": c.pk, "name": c.name, **_yarns(entries, c.name)} for c in written]

    def _letters(self, spec: ClothSpec | None, written: Iterable[Mapping[str, Any]]) -> list[str]:
        """Rows of the table: letters that the orders use, and those at which a yarn is written already."""
        said = self.data if self.data is not None else vars(spec) if spec else {}
        used: set[str] = set()
        for name in ("warp_order", "weft_order"):
            try:
                used |= {stripe.letter for stripe in cloth_room.read_order(said.get(name) or "A B")}
            except Refusal:
                # Said beside the order; the rows stay those that have a yarn.
                continue
        selvedge = str(said.get("selvedge_letter") or "").strip().upper()
        used |= {selvedge} & set(cloth_room.LETTERS)
        self.used_letters = sorted(used)
        if self.data is not None:
            filled = {
                letter
                for letter in cloth_room.LETTERS
                for n in range(self._columns_sent())
                if self.data.get(f"colourway-{n}-{letter}", "").strip()
            }
        else:
            filled = {name for column in written for name in column if name in cloth_room.LETTERS}
        return sorted(used | filled)

    def _columns_sent(self) -> int:
        assert self.data is not None
        sent = str(self.data.get("colourways", "0"))
        return min(int(sent), COLOURWAYS_MAX) if sent.isdecimal() and len(sent) < 4 else 0

    def _colourways(self, written: list[dict[str, Any]]) -> list[ColourwayForm]:
        facts: dict[str, Any] = {"letters": self.letters, "yarns": self.yarns}
        if self.data is None:
            columns = [*written, {}] if written != [{}] else written
            return [ColourwayForm(prefix=f"colourway-{n}", initial=column, **facts) for n, column in enumerate(columns)]
        sent = self._columns_sent()
        forms_sent = [ColourwayForm(self.data, prefix=f"colourway-{n}", **facts) for n in range(max(sent, 1))]
        for form in forms_sent:
            form.is_valid()
        # One blank column is always at hand, so that a colourway can be added without a script.
        last = forms_sent[-1]
        if (last.cleaned_data.get("name") or last.has_yarns or last.errors) and len(forms_sent) < COLOURWAYS_MAX:
            forms_sent.append(ColourwayForm(self.data, prefix=f"colourway-{len(forms_sent)}", **facts))
        return forms_sent

    @property
    def table(self) -> list[tuple[str, bool, list[forms.BoundField]]]:
        """Rows of the table: letter, whether the orders use it, a cell for each colourway."""
        return [
            (letter, letter in self.used_letters, [form[letter] for form in self.colourways]) for letter in self.letters
        ]

    # All of it

    def every_form(self) -> list[forms.Form]:
        return [self.spec_form, *self.steps, *self.colourways]

    def is_valid(self) -> bool:
        return all([form.is_valid() for form in self.every_form()] + [not self._route_errors()])

    def _route_errors(self) -> bool:
        self.route()
        return any(step.errors for step in self.steps)

    def said(self) -> dict[str, Any]:
        """What was typed, by the names of a draft: columns, route, colourways. Only of a valid sheet."""
        route = self.route()
        length_shrink_pct = finishing.route_shrink_pct(step.length_shrink_pct for step in route)
        return {
            "columns": self.spec_form.columns(length_shrink_pct=length_shrink_pct),
            "route": route,
            "colourways": [form.said() for form in self.colourways if form.cleaned_data["name"] or form.has_yarns],
        }

    def refuse(self, refusal: Refusal) -> None:
        """Put a refusal beside what it is about: a column, a cell of the table, the route; else above all."""
        field = refusal.field or ""
        if field in self.spec_form.fields:
            self.spec_form.add_error(field, refusal.message)
            return
        table, _dot, cell = field.partition(".")
        number, _dot, name = cell.partition(".")
        named = [form for form in self.colourways if form.cleaned_data["name"] or form.has_yarns]
        if table == "colourways" and number.isdecimal() and int(number) < len(named):
            form = named[int(number)]
            form.add_error(name if name in form.fields else "name", refusal.message)
        elif table in ("colourways", "yarns"):
            self.colourways[0].add_error("name", refusal.message)
        elif table == "route":
            self.steps[0].add_error("name", refusal.message)
        else:
            self.spec_form.add_error(None, refusal.message)

    def fields_sent(self) -> list[forms.BoundField]:
        """Every field that stands on the page from which this was sent."""
        assert self.data is not None
        return [form[name] for form in self.every_form() for name in form.fields if form.add_prefix(name) in self.data]

    def missing(self) -> list[forms.BoundField]:
        """Fields that must not be empty and are."""
        return [field for field in self.fields_sent() if _is_missing(field)]

    def misread(self) -> list[forms.BoundField]:
        """Fields in which something else is wrong."""
        return [field for field in self.fields_sent() if field.errors and not _is_missing(field)]


def _is_missing(field: forms.BoundField) -> bool:
    return bool(field.errors) and all(error.code == "required" for error in field.errors.as_data())


def with_usual_weave(data: QueryDict) -> QueryDict:
    """What was sent, with a weave that was chosen by its name written out in threading and lifting."""
    data = data.copy()
    if chosen := weave.PRESETS.get(data.get("usual_weave", "")):
        data["threading"] = weave.threading_text(chosen.threading)
        data["lifting"] = weave.lifting_text(chosen.lifting)
        data["usual_weave"] = ""
    return data


def _yarns(entries: Iterable[ColourwayYarn], name: str) -> dict[str, Yarn]:
    return {entry.letter: entry.yarn for entry in entries if entry.colourway.name == name}


def yarns_by_code(spec: ClothSpec | None) -> dict[str, Yarn]:
    """Yarns in use, by code in small letters; and those that the revision has already, in use or not."""
    yarns = Yarn.objects.filter(is_in_use=True)
    if spec:
        yarns = yarns | Yarn.objects.filter(pk__in=spec.colourway_yarns.values("yarn"))
    return {yarn.code.casefold(): yarn for yarn in yarns}
