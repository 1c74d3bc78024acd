from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from mill.fields import DayInput, MeasureField, SeveralField
from mill.refusal import N_, Refusal
from mill.templatetags.mill import num
from mill.units import read
from planning.models import Machine, OrderLine, Piece, RouteStep, Worker
from planning.piece import Fault


class WorkerField(forms.ModelChoiceField):
    """Who did it, by the short code of the floor."""

    def __init__(self, *trades: str, **kwargs: Any) -> None:
        rows = Worker.objects.filter(is_in_use=True)
        super().__init__(
            **{
                "queryset": rows.filter(trade__in=trades) if trades else rows,
                "label": gettext_lazy("Who"),
                "required": False,
                "empty_label": gettext_lazy("not said"),
                **kwargs,
            }
        )


class PerchForm(forms.Form):
    """At the grey perch."""

    length_m = MeasureField(unit="m", label=gettext_lazy("Grey length, relaxed"), above=0, places=2)
    width_cm = MeasureField(unit="cm", label=gettext_lazy("Grey width, relaxed"), above=0, places=1)
    mending_min = MeasureField(
        unit="min",
        label=gettext_lazy("To mend"),
        places=0,
        initial=0,
        help_text=gettext_lazy("0 where nothing is to mend."),
    )
    worker = WorkerField()
    note = forms.CharField(required=False, max_length=200, label=gettext_lazy("Note"))


class MendForm(forms.Form):
    key = forms.CharField(widget=forms.HiddenInput, max_length=64)
    minutes = MeasureField(unit="min", label=gettext_lazy("Minutes spent"), min_value=1, places=0)
    is_mended = forms.BooleanField(required=False, label=gettext_lazy("Nothing is left to mend"))
    worker = WorkerField("mender")


class MeasureForm(forms.Form):
    """Finished and relaxed."""

    length_m = MeasureField(unit="m", label=gettext_lazy("Finished length, relaxed"), above=0, places=2)
    width_cm = MeasureField(unit="cm", label=gettext_lazy("Finished width, relaxed"), above=0, places=1)
    mass_g = MeasureField(
        unit="g",
        label=gettext_lazy("Mass"),
        min_value=1,
        max_value=2_000_000,
        places=0,
        required=False,
        help_text=gettext_lazy("14.2 kg, 31 lb."),
    )
    worker = WorkerField()


class FaultsForm(forms.Form):
    """One fault a line: where it begins, how long it is, and what it is."""

    faults = forms.CharField(
        required=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
        label=gettext_lazy("Faults, one a line"),
        help_text=gettext_lazy("3.2 m 80 mm float. Write hole before its size where it is one: 12 m hole 20 mm."),
    )
    worker = WorkerField()

    def clean_faults(self) -> list[Fault]:
        found = []
        for n, line in enumerate(self.cleaned_data["faults"].splitlines(), start=1):
            if line.strip():
                try:
                    found.append(read_fault(line))
                except Refusal as refusal:
                    said = _("Line %(n)s: %(why)s") % {"n": n, "why": refusal.message}
                    raise forms.ValidationError(said) from refusal
        return found


# As it is written before the size of one, in English or in the language of the page.
HOLE = N_("hole")


def read_fault(line: str) -> Fault:
    """A fault as the percher writes it.

    >>> read_fault("3.2 m 80 mm float")
    Fault(at_m=Decimal('3.2'), length_mm=Decimal('80'), is_hole=False, name='float')
    >>> read_fault("12 hole 2 cm").is_hole
    True
    """
    words = line.split()
    numbers: list[tuple[str, str]] = []
    name: list[str] = []
    is_hole = False
    at = 0
    while at < len(words):
        word = words[at]
        if word[:1].isdecimal() and len(numbers) < 2:
            unit = words[at + 1] if at + 1 < len(words) and words[at + 1] in ("m", "cm", "mm", "in", "yd", "ft") else ""
            numbers.append((word, unit))
            at += 2 if unit else 1
            continue
        if word.lower() in (HOLE, _(HOLE).lower()):
            is_hole = True
        else:
            name.append(word)
        at += 1
    if len(numbers) < 2:
        raise Refusal(
            N_('"%(line)s" has no place and size. Write where it begins and how long it is: 3.2 m 80 mm.'),
            line=line.strip(),
        )
    (where, where_unit), (size, size_unit) = numbers
    at_m = read(f"{where} {where_unit}".strip(), "m")
    return Fault(at_m, read(f"{size} {size_unit}".strip(), "mm"), is_hole, " ".join(name) or (HOLE if is_hole else ""))


class FinalPerchForm(MeasureForm, FaultsForm):
    """Everything that is looked at before a piece is ready: mending again and re-finishing have a form of their own."""

    verdict = forms.ChoiceField(
        choices=[(v, gettext_lazy(v)) for v in (Piece.PASS, Piece.SECOND)],
        widget=forms.RadioSelect,
        initial=Piece.PASS,
        label=gettext_lazy("Verdict"),
    )
    why = forms.CharField(
        required=False,
        max_length=200,
        label=gettext_lazy("Why"),
        help_text=gettext_lazy("Where it does not pass, or passes with more points than the limit."),
    )
    field_order = ["length_m", "width_cm", "mass_g", "faults", "verdict", "why", "worker"]


class JudgeForm(forms.Form):
    verdict = forms.ChoiceField(
        choices=[(v, gettext_lazy(v)) for v, _said in Piece.VERDICTS],
        widget=forms.RadioSelect,
        label=gettext_lazy("Verdict"),
    )
    why = forms.CharField(
        required=False,
        max_length=200,
        label=gettext_lazy("Why"),
        help_text=gettext_lazy("Where it does not pass, or passes with more points than the limit."),
    )
    mending_min = MeasureField(unit="min", label=gettext_lazy("To mend again"), places=0, required=False)
    from_step = forms.ModelChoiceField(
        RouteStep.objects.none(),
        required=False,
        label=gettext_lazy("Finish again from"),
        empty_label=gettext_lazy("the first step"),
    )
    worker = WorkerField()

    def __init__(self, *args: Any, piece: Piece, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["from_step"].queryset = piece.spec.route_steps.all()  # type: ignore[attr-defined]


class AllocateForm(forms.Form):
    line = forms.ModelChoiceField(
        OrderLine.objects.none(), required=False, label=gettext_lazy("Line"), empty_label=gettext_lazy("no line")
    )
    why = forms.CharField(required=False, max_length=200, label=gettext_lazy("Why"))

    def __init__(self, *args: Any, lines: list[OrderLine], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = OrderLine.objects.filter(pk__in=[line.pk for line in lines]).select_related("order__customer")
        self.fields["line"].queryset = rows  # type: ignore[attr-defined]
        self.fields["line"].label_from_instance = lambda line: (  # type: ignore[attr-defined]
            _("%(line)s of %(customer)s, %(pieces)s x %(length)s m, due %(due)s")
            % {
                "line": line,
                "customer": line.order.customer,
                "pieces": line.pieces,
                "length": num(line.length_m, 2),
                "due": f"{line.due_on:%d.%m.%Y}",
            }
        )


class CorrectLengthForm(forms.Form):
    grey_length_m = MeasureField(unit="m", label=gettext_lazy("Grey length as it is"), above=0, places=2)
    why = forms.CharField(max_length=200, label=gettext_lazy("Why"))


class BatchForm(forms.Form):
    """Pieces for a step. Which of them can go into it now, the verb says, by name."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=64)
    step = forms.CharField(widget=forms.HiddenInput, max_length=60)
    pieces = SeveralField(Piece.objects.select_related("line"), required=False)
    worker = WorkerField("finisher")
    note = forms.CharField(required=False, max_length=200)


class DispatchForm(forms.Form):
    """Pieces to send. Which of them can leave now, the verb says, by name."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=64)
    sent_on = forms.DateField(label=gettext_lazy("Sent on"), widget=DayInput())
    pieces = SeveralField(Piece.objects.all(), required=False)
    note = forms.CharField(required=False, max_length=200, label=gettext_lazy("Note for the customer"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sent_on"].initial = timezone.localdate()


class WorkerForm(forms.ModelForm):
    class Meta:
        model = Worker
        fields = ("code", "name", "trade", "is_in_use")
        labels = {"code": gettext_lazy("Short code"), "is_in_use": gettext_lazy("Works here")}
        error_messages = {"code": {"unique": gettext_lazy("Worker with this Code already exists.")}}


class MachineForm(forms.ModelForm):
    m_per_day = MeasureField(
        unit="m",
        label=gettext_lazy("Metres in a working day"),
        above=0,
        max_value=Decimal(9_999_999),
        places=1,
    )

    class Meta:
        model = Machine
        fields = ("name", "step", "m_per_day")
        error_messages = {"name": {"unique": gettext_lazy("Machine with this Name already exists.")}}
