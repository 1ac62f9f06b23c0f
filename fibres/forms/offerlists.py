"""Forms that take in a list of offers: first the file, then the rows as they were looked over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.core import signing
from django.core.exceptions import ValidationError

from fibres.offerfiles import Cells
from studio.forms import HouseForm

MOST_BYTES = 500_000
MOST_ROWS = 2000
# A form that is sent back must stay below what the framework reads of one.
MOST_KEPT = 1_500_000
SALT = "list of offers"
TOO_LARGE = (
    f"Give a file of at most {MOST_BYTES // 1000} kB and {MOST_ROWS} rows. “manage.py "
    "import_offers” takes larger ones."
)
ONCE_MORE = "The rows that were looked over cannot be read any more. Choose the file once more."


class ImportForm(HouseForm):
    """A list of offers as a file."""

    use_required_attribute = False

    file = forms.FileField(
        label="List of offers",
        help_text="CSV in UTF-8 or XLSX, with a line of headings.",
        error_messages={
            "required": "Choose a file.",
            "missing": "Choose a file.",
            "invalid": "Choose a file.",
            "empty": "The file is empty.",
        },
    )
    sheet = forms.CharField(
        max_length=100, required=False, help_text="Of a workbook; empty: the first one."
    )

    def clean_file(self) -> Any:
        """Refuse a file that is larger than a page should read."""
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise ValidationError(TOO_LARGE)
        return file


class ConfirmForm(HouseForm):
    """The rows of a list that was looked over, to be entered as they were shown."""

    rows = forms.CharField(widget=forms.HiddenInput, error_messages={"required": ONCE_MORE})
    name = forms.CharField(max_length=200, required=False, widget=forms.HiddenInput)

    def clean_rows(self) -> list[Cells]:
        """Take the rows out again; they are signed, so that what was shown is what is entered."""
        try:
            kept = signing.loads(self.cleaned_data["rows"], salt=SALT)
        except signing.BadSignature as fault:
            raise ValidationError(ONCE_MORE) from fault
        return [Cells(number, texts) for number, texts in kept]


def kept_rows(rows: Sequence[Cells]) -> str:
    """Return rows as the text that :class:`ConfirmForm` takes them out of."""
    if len(rows) > MOST_ROWS:
        raise ValidationError(TOO_LARGE)
    kept = signing.dumps([(row.number, row.texts) for row in rows], salt=SALT, compress=True)
    if len(kept) > MOST_KEPT:
        raise ValidationError(TOO_LARGE)
    return kept
