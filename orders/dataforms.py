"""Forms that bring data in: the file of a list, the word to enter it, and a whole studio."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from studio.errors import ReadingError
from studio.files import endings, limits
from studio.files.kinds import DECIMALS
from studio.forms import HouseForm

CHOOSE = "Choose a file."
# What a packed file, or a workbook of the old kind, is known by.
START_BYTES = 8
MISSING = dict.fromkeys(("required", "missing", "invalid"), CHOOSE)
EMPTY_FILE = {**MISSING, "empty": "The file is empty."}


class BringForm(HouseForm):
    """A list as a file, and how to read it."""

    use_required_attribute = False

    file = forms.FileField(
        help_text="CSV (.csv, .txt or .tsv) or XLSX, with a line of headings.",
        error_messages=EMPTY_FILE,
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
        """Refuse a file that a page should not read: by its size, then by its name and kind."""
        file = self.cleaned_data["file"]
        if file.size > limits.MOST_PAGE_BYTES:
            raise ValidationError(
                f"The file is larger than {limits.megabytes(limits.MOST_PAGE_BYTES)}. Split it, "
                "or bring it in on the command line."
            )
        start = file.read(START_BYTES)
        file.seek(0)
        try:
            endings.refuse_other_than_a_list(file.name, start)
        except ReadingError as fault:
            raise ValidationError(str(fault), code="kind") from None
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
        """Refuse a file that a page should not read: by its size, then by its name and kind."""
        file = self.cleaned_data["file"]
        if file.size > limits.MOST_PAGE_BYTES:
            raise ValidationError(
                f"The file is larger than {limits.megabytes(limits.MOST_PAGE_BYTES)}. Bring it "
                "in with “manage.py import_studio”."
            )
        try:
            endings.refuse_other_than_a_studio(file.name)
        except ReadingError as fault:
            raise ValidationError(str(fault), code="kind") from None
        return file
