from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy

from planning.csv_book import BYTES_MAX, COMMA, POINT, too_large


class ImportForm(forms.Form):
    """A file to bring in. Browsers don't send a file twice by themselves, so it is chosen again after an error."""

    file = forms.FileField(
        label=gettext_lazy("File"),
        help_text=gettext_lazy("CSV in UTF-8. Cells are parted by commas or by semicolons, as the first row has them."),
        widget=forms.FileInput(attrs={"accept": ".csv,text/csv,text/plain"}),
        error_messages={
            "required": gettext_lazy("Choose the file that is to be brought in."),
            "empty": gettext_lazy(
                "The file is empty. Its first row names the columns, and each row under it is one thing."
            ),
        },
    )
    decimal = forms.ChoiceField(
        label=gettext_lazy("Decimals are written with"),
        choices=[(POINT, gettext_lazy("a point: 12.5")), (COMMA, gettext_lazy("a comma: 12,5"))],
        initial=POINT,
        widget=forms.RadioSelect,
    )
    is_check = forms.BooleanField(
        label=gettext_lazy("Only check it"),
        required=False,
        help_text=gettext_lazy("All of it is looked at, and nothing is written."),
    )

    def clean_file(self) -> Any:
        file: UploadedFile = self.cleaned_data["file"]
        if file.size is not None and file.size > BYTES_MAX:
            raise forms.ValidationError(too_large(file.size).message)
        return file
