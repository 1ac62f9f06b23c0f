"""Forms about finished sheets: what is sent in a parcel, what is spoilt, what was counted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from django import forms
from django.core.exceptions import ValidationError
from django.utils.safestring import SafeString

from fibres.forms.common import past_day
from fibres.forms.purchases import GrownForm
from orders.models import Commission, Making, SheetMovement
from orders.sheetsinhand import Kept, ParcelNote, Sending, too_few_words
from studio.forms import CountField, HouseForm, MassField
from studio.units import System, show_number, show_size

MOST = 1_000_000
GOOD, RETREE = SheetMovement.Quality.GOOD, SheetMovement.Quality.RETREE
WORDS = {GOOD: "Good", RETREE: "Retree"}


class Offer(NamedTuple):
    """Sheets of one making and one quality that may go, and how many are suggested."""

    making: Making
    quality: str
    there: int
    suggested: int

    @property
    def name(self) -> str:
        """The name of its field."""
        return f"{self.quality}_{self.making.pk}"


def offers_of(
    makings: Iterable[Making], commission: Commission | None, kept: Kept | None
) -> list[Offer]:
    """Return what may go; of a commission's own good sheets, what its client still waits for.

    Nothing is suggested of other makings, and no retree: that is for a person to say.
    """
    left = kept.to_send if kept else 0
    found = []
    for making in makings:
        is_own = commission is not None and making.commission_id == commission.pk
        waited_for = making.commission is not None and making.commission.is_open
        good, retree = making.good_in_hand, making.retree_in_hand  # type: ignore[attr-defined]
        if good and (is_own or not waited_for):
            suggested = min(left, good) if is_own else 0
            left -= suggested
            found.append(Offer(making, GOOD, good, suggested))
        if retree:
            found.append(Offer(making, RETREE, retree, 0))
    return found


class MakingRow(NamedTuple):
    """The fields of one making on the page, under what the making is."""

    title: str
    told: str
    fields: list[Any]


def _sheets_field(offer: Offer) -> CountField:
    return CountField(
        label=WORDS[GOOD if offer.quality == GOOD else RETREE],
        required=False,
        most=MOST,
        unit="sheets",
        initial=offer.suggested or None,
        help_text=f"{show_number(offer.there)} in hand.",
    )


class SendForm(GrownForm):
    """What goes into a parcel, and what the scales say of it."""

    sent_on = past_day("Sent")
    sent_to = forms.CharField(
        label="Sent to",
        max_length=200,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Name and address for the packing list, line by line.",
    )
    sheet_mg = MassField(
        ("g", "oz"),
        label="One sheet weighs",
        required=False,
        stored=True,
        positive=True,
        help_text="As it lies in the room; ten together, divided by ten, is surer.",
    )
    parcel_mg = MassField(
        label="Parcel weighs",
        required=False,
        stored=True,
        positive=True,
        help_text="With boards and wrapping.",
    )
    remarks = forms.CharField(required=False, max_length=500)
    is_right = forms.BooleanField(label="Send it all the same", required=False)
    # The figures that were asked about: a tick speaks for those alone.
    asked_about = forms.CharField(required=False, widget=forms.HiddenInput, max_length=200)

    def __init__(self, *args: Any, offers: list[Offer], **kwargs: Any) -> None:
        self.offers = offers
        self.system: System = kwargs.get("system", "metric")
        grown = {offer.name: _sheets_field(offer) for offer in offers}
        super().__init__(*args, grown=grown, **kwargs)

    @property
    def rows(self) -> SafeString:
        """Render the makings one by one, then what holds for the parcel."""
        return self.render("fibres/forms/receive_rows.html")

    def line_rows(self) -> list[MakingRow]:
        """Return the fields making by making."""
        found: dict[int, list[Offer]] = {}
        for offer in self.offers:
            found.setdefault(offer.making.pk, []).append(offer)
        return [
            MakingRow(
                title=offers[0].making.ref,
                told=self._told(offers[0].making),
                fields=[self[offer.name] for offer in offers],
            )
            for offers in found.values()
        ]

    def _told(self, making: Making) -> str:
        size = show_size(making.sheet.size, system=self.system)
        made_for = f", made for {making.commission.ref}" if making.commission else ""
        return f"{making.sheet.name}, {size}{made_for}"

    def common_fields(self) -> list[Any]:
        """Return the fields that hold for the parcel; the question only once it is put."""
        unseen = {"request_key", "asked_about"}
        if not self["asked_about"].value():
            unseen.add("is_right")
        return [self[name] for name in type(self).base_fields if name not in unseen]

    @property
    def sendings(self) -> list[Sending]:
        """What is to go."""
        return [
            Sending(offer.making, offer.quality, sheets)
            for offer in self.offers
            if (sheets := self.cleaned_data.get(offer.name))
        ]

    @property
    def note(self) -> ParcelNote:
        """What is noted of the parcel."""
        given = self.cleaned_data
        return ParcelNote(
            sent_on=given["sent_on"],
            sent_to=given["sent_to"],
            sheet_mg=given["sheet_mg"],
            parcel_mg=given["parcel_mg"],
            remarks=given["remarks"],
            is_right=given["is_right"] and given["asked_about"] == self._weighed(),
        )

    def _weighed(self) -> str:
        """Return the figures that the scales are asked about, in few letters."""
        given = self.cleaned_data
        sheets = sum(row.sheets for row in self.sendings)
        return f"{sheets} {given['sheet_mg']} {given['parcel_mg']}"

    def ask(self) -> None:
        """Put the question, not answered yet, into the page that goes back."""
        self.data = self.data.copy()
        self.data[self.add_prefix("asked_about")] = self._weighed()
        self.data.pop(self.add_prefix("is_right"), None)

    def clean_sent_to(self) -> str:
        """Keep the lines of an address, without the blanks around them."""
        lines = (" ".join(line.split()) for line in self.cleaned_data["sent_to"].splitlines())
        return "\n".join(line for line in lines if line)

    def clean(self) -> dict[str, Any]:
        """Refuse an empty parcel, and more sheets than lie there: the sum would be of none."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        for making, quality, there, _ in self.offers:
            name = f"{quality}_{making.pk}"
            asked = given.get(name) or 0
            if asked > there:
                self.add_error(name, too_few_words(making, quality, there, asked=asked))
        if not self.errors and not self.sendings:
            raise ValidationError("Give the sheets that are sent, of at least one making.")
        return given


class TakeBackForm(HouseForm):
    """Why a parcel is taken back."""

    happened_on = past_day("Taken back")
    why = forms.CharField(
        label="Why", max_length=200, help_text="It came back; entered twice; the wrong parcel."
    )


class NotSpoiltForm(HouseForm):
    """Why sheets that were entered as spoilt are not."""

    happened_on = past_day("Taken back")
    why = forms.CharField(
        label="Why", max_length=200, help_text="Another making was meant; a slip of the finger."
    )


class SpoilForm(HouseForm):
    """Sheets that can no longer be sold."""

    quality = forms.ChoiceField(widget=forms.RadioSelect)
    sheets = CountField(label="Sheets", least=1, most=MOST, unit="sheets")
    happened_on = past_day("When")
    why = forms.CharField(
        label="What happened", max_length=200, help_text="Such as damp, creased, used as a sample."
    )

    def __init__(self, *args: Any, there: Mapping[str, int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [
            (quality, f"{word}, {show_number(there[quality])} in hand")
            for quality, word in WORDS.items()
            if there.get(quality)
        ]
        self.fields["quality"].choices = choices
        if len(choices) == 1:
            self.initial["quality"] = choices[0][0]


class CountForm(HouseForm):
    """What lies there, counted sheet by sheet."""

    good = CountField(label="Good", most=MOST, unit="sheets")
    retree = CountField(label="Retree", most=MOST, unit="sheets")
    happened_on = past_day("Counted")
    why = forms.CharField(
        label="Why it differs",
        max_length=200,
        required=False,
        help_text="Needed where the count is not what the book says.",
    )
    seen_good = forms.IntegerField(widget=forms.HiddenInput)
    seen_retree = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, there: Mapping[str, int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["why"].needed = "needed if it does"
        for quality in (GOOD, RETREE):
            book = there.get(quality, 0)
            self.initial[f"seen_{quality}"] = book
            self.fields[quality].help_text = f"The book says {show_number(book)}."

    @property
    def counted(self) -> dict[str, int]:
        """What was counted."""
        return {quality: self.cleaned_data[quality] for quality in (GOOD, RETREE)}

    @property
    def seen(self) -> dict[str, int]:
        """What the book said when the page was opened."""
        return {quality: self.cleaned_data[f"seen_{quality}"] for quality in (GOOD, RETREE)}

    def see(self, there: Mapping[str, int]) -> None:
        """Put into the page that goes back what the book has now."""
        self.data = self.data.copy()
        for quality in (GOOD, RETREE):
            self.data[self.add_prefix(f"seen_{quality}")] = str(there.get(quality, 0))
