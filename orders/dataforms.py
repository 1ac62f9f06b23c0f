"""Forms that bring data in: the file of a list, the word to enter it, and a whole studio."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from studio.files import limits
from studio.files.kinds import DECIMALS
from studio.forms import HouseForm

CHOOSE = "Choose a file."
MISSING = dict.fromkeys(("required", "missing", "invalid"), CHOOSE)
EMPTY_FILE = {**MISSING, "empty": "The file is empty."}


class BringForm(HouseForm):
    """A list as a file, and how to read it."""

    use_required_attribute = False

    file = forms.FileField(
        help_text="CSV or XLSX, with a line of headings.", error_messages=EMPTY_FILE
    )
    sheet = forms.CharField(
        max_length=100, required=False, help_text="Of a workbook; empty: the first one."
    )
    decimals = forms.ChoiceField(
        label="What marks decimals",
        choices=DECIMALS,
        required=False,
        widget=forms.RadioSelect,
        help_text="Where 1,234 can mean two things, this tells which.",
    )

    def clean_file(self) -> Any:
        """Refuse a file that is larger than a page should read, by its size alone."""
        file = self.cleaned_data["file"]
        if file.size > limits.MOST_PAGE_BYTES:
            raise ValidationError(
                f"The file is larger than {limits.megabytes(limits.MOST_PAGE_BYTES)}. Split it, "
                "or bring it in on the command line."
            )
        return file


class EnterForm(HouseForm):
    """The word to enter a list that was looked over."""

    again = forms.BooleanField(
        label="Enter it once more all the same",
        required=False,
        help_text="Then all of it is there twice.",
    )


class WholeForm(HouseForm):
    """A whole studio as one file."""

    use_required_attribute = False

    file = forms.FileField(
        label="Studio as a file",
        help_text="As it was taken out here or by export_studio.",
        error_messages=EMPTY_FILE,
    )

    def clean_file(self) -> Any:
        """Refuse a file that is larger than a page should read, by its size alone."""
        file = self.cleaned_data["file"]
        if file.size > limits.MOST_PAGE_BYTES:
            raise ValidationError(
                f"The file is larger than {limits.megabytes(limits.MOST_PAGE_BYTES)}. Bring it "
                "in with “manage.py import_studio”."
            )
        return file
