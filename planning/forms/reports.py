from django import forms
from django.utils.translation import gettext_lazy

from mill.fields import DayInput
from mill.refusal import Refusal
from planning.period import Period


class PeriodForm(forms.Form):
    """From one day to another; what nobody writes is as the report proposes."""

    from_day = forms.DateField(label=gettext_lazy("From"), widget=DayInput(), required=False)
    to_day = forms.DateField(label=gettext_lazy("To"), widget=DayInput(), required=False)

    def __init__(self, *args: object, proposed: Period, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.proposed = proposed
        self.fields["from_day"].initial, self.fields["to_day"].initial = proposed.first, proposed.last

    def clean(self) -> dict[str, object]:
        said = super().clean() or {}
        if not self.errors:
            try:
                said["period"] = Period(
                    said.get("from_day") or self.proposed.first, said.get("to_day") or self.proposed.last
                )
            except Refusal as refusal:
                self.add_error(refusal.field, refusal.message)
        return said
