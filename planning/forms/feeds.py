from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from planning.models import FeedLink


class FeedForm(forms.ModelForm):
    class Meta:
        model = FeedLink
        fields = ["what", "loom", "label"]
        labels = {"what": gettext_lazy("A feed of"), "label": gettext_lazy("For")}
        help_texts = {"loom": gettext_lazy("When it is one loom's.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["what"].choices = FeedLink.WHAT  # type: ignore[attr-defined]
        self.fields["loom"].empty_label = _("no one loom")  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("what") == FeedLink.LOOM and not said.get("loom") and "loom" not in self.errors:
            self.add_error("loom", _("Say which loom."))
        if said.get("what") != FeedLink.LOOM:
            said["loom"] = None
        return said
