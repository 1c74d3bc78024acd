from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from planning.csv_book import BYTES_MAX, COMMA, POINT


class ImportForm(forms.Form):
    """A file to bring in. Browsers don't send a file twice by themselves, so it is chosen again after an error."""

    file = forms.FileField(
        label="File",
        help_text="CSV in UTF-8. Cells are parted by commas or by semicolons, as the first row has them.",
        widget=forms.FileInput(attrs={"accept": ".csv,text/csv,text/plain"}),
        error_messages={
            "required": "Choose the file that is to be brought in.",
            "empty": "The file is empty. Its first row names the columns, and each row under it is one thing.",
        },
    )
    decimal = forms.ChoiceField(
        label="Decimals are written with",
        choices=[(POINT, "a point: 12.5"), (COMMA, "a comma: 12,5")],
        initial=POINT,
        widget=forms.RadioSelect,
    )
    is_check = forms.BooleanField(
        label="Only check it", required=False, help_text="All of it is looked at, and nothing is written."
    )

    def clean_file(self) -> Any:
        file: UploadedFile = self.cleaned_data["file"]
        if file.size is not None and file.size > BYTES_MAX:
            raise forms.ValidationError(
                f"The file has {file.size / 1e6:.1f} MB, and {BYTES_MAX / 1e6:.0f} MB are taken at once."
                " Bring it in in parts."
            )
        return file
