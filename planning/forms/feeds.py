from typing import Any

from django import forms

from planning.models import FeedLink


class FeedForm(forms.ModelForm):
    class Meta:
        model = FeedLink
        fields = ["what", "loom", "label"]
        labels = {"what": "A feed of", "label": "For"}
        help_texts = {"loom": "When it is one loom's."}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["what"].choices = FeedLink.WHAT  # type: ignore[attr-defined]
        self.fields["loom"].empty_label = "no one loom"  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("what") == FeedLink.LOOM and not said.get("loom") and "loom" not in self.errors:
            self.add_error("loom", "Say which loom.")
        if said.get("what") != FeedLink.LOOM:
            said["loom"] = None
        return said
