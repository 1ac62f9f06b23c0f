"""Forms about buying: what to order, that it was ordered, what came, and what will not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.safestring import SafeString

from fibres.forms.common import PlaceField, past_day, some_dry
from fibres.forms.fibres import short_text
from fibres.models import Lot, Offer, PurchaseLine
from fibres.purchasing import Arrived
from studio.forms import CountField, DayField, HouseForm, MassField, MoneyField, ShareField
from studio.money import by_mass, show_money
from studio.units import System, show_mass, show_share

MOST_PACKS = 9999
Fields = Mapping[str, forms.Field]


class GrownForm(HouseForm):
    """A form with fields for rows that are known only when it is shown, before its own."""

    def __init__(self, *args: Any, grown: Fields, **kwargs: Any) -> None:
        # The framework copies the fields of a form from here.
        self.base_fields = {**grown, **type(self).base_fields}
        super().__init__(*args, **kwargs)


def packs_field(label: str, **kwargs: Any) -> CountField:
    """Return a field for a number of packs; blank stands for none."""
    return CountField(label=label, required=False, most=MOST_PACKS, unit="packs", **kwargs)


class PlanForm(GrownForm):
    """The packs that are wanted of each open offer of a source."""

    order_by = DayField(
        label="Order by", required=False, help_text="The last day on which it is early enough."
    )
    freight = MoneyField(
        required=False, help_text="For the whole order. Empty: what the source usually takes."
    )
    remarks = short_text()
    version = forms.CharField(required=False, max_length=32, widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        offers: Sequence[Offer],
        kept_lines: int = 0,
        system: System = "metric",
        currency: str = "GBP",
        **kwargs: Any,
    ) -> None:
        self.offers, self.kept_lines = offers, kept_lines
        grown = {
            f"offer_{offer.pk}": packs_field(
                ", ".join(filter(None, [offer.fibre.name, offer.form])),
                help_text=terms_in_words(offer, system, currency),
            )
            for offer in offers
        }
        super().__init__(*args, grown=grown, system=system, currency=currency, **kwargs)

    @property
    def wanted(self) -> list[tuple[Offer, int]]:
        """The offers of which packs are wanted, with how many."""
        given = ((offer, self.cleaned_data.get(f"offer_{offer.pk}")) for offer in self.offers)
        return [(offer, packs) for offer, packs in given if packs]

    def clean(self) -> dict[str, Any]:
        """Refuse an order of nothing."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if not self.errors and not self.wanted and not self.kept_lines:
            raise ValidationError("Give the packs that are wanted of at least one fibre.")
        return given


def terms_in_words(offer: Offer, system: System, currency: str) -> str:
    """Word pack, moisture and price of an offer."""
    per = str(offer.get_price_per_display()).removeprefix("kilogram ")
    price, unit = by_mass(offer.minor_per_kg, system)
    said = [
        f"A pack is {show_mass(offer.pack_mg, system=system)} at {show_share(offer.moisture)} "
        f"moisture; {show_money(price, currency)} a {unit} {per}"
    ]
    said += [
        f"from {found.from_packs} packs {show_money(minor, currency)}"
        for found in offer.breaks.all()
        for minor, _ in [by_mass(found.minor_per_kg, system)]
    ]
    if offer.least_packs > 1:
        said.append(f"{offer.least_packs} packs or more")
    if offer.is_closed:
        said.append("the offer is closed: leave these packs as planned, or clear them")
    return f"{'; '.join(said)}."


class OrderForm(HouseForm):
    """That an order was placed."""

    ordered_on = past_day("Ordered")
    expected_on = DayField(label="Expected", required=False)
    freight = MoneyField(help_text="For the whole order, as agreed.")

    def __init__(self, *args: Any, lead_days: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        days = "1 day" if lead_days == 1 else f"{lead_days} days"
        self.fields["expected_on"].help_text = f"Empty: {days} after the order."


class ExpectForm(HouseForm):
    """Another day on which it is expected."""

    expected_on = DayField(label="Expected now")

    def clean_expected_on(self) -> Any:
        """Refuse a day that has passed."""
        day = self.cleaned_data["expected_on"]
        if day < timezone.localdate():
            raise ValidationError("That day has passed. Give today or a later day.")
        return day


class ClosePurchaseForm(HouseForm):
    """Why nothing more is to come."""

    why = forms.CharField(
        label="Why", max_length=150, help_text="Sold out; ordered elsewhere; no longer needed."
    )


class LineRow(NamedTuple):
    """The fields of one line on the page, under what the line is."""

    title: str
    told: str
    fields: list[Any]


class ReceiveForm(GrownForm):
    """What came of each line: packs, mass as it is, moisture and how that is known."""

    received_on = past_day("Received")
    place = PlaceField()
    remarks = short_text()

    def __init__(
        self, *args: Any, lines: Sequence[PurchaseLine], system: System = "metric", **kwargs: Any
    ) -> None:
        self.lines, self.system = lines, system
        grown: dict[str, forms.Field] = {}
        for line in lines:
            grown |= _fields_of(line, system)
        super().__init__(*args, grown=grown, system=system, **kwargs)

    @property
    def rows(self) -> SafeString:
        """Render the lines one by one, then what holds for all of them."""
        return self.render("fibres/forms/receive_rows.html")

    def line_rows(self) -> list[LineRow]:
        """Return the fields line by line."""
        return [
            LineRow(
                title=str(line.fibre),
                told=_to_come(line, self.system),
                fields=[self[name] for name in names_of(line)],
            )
            for line in self.lines
        ]

    def common_fields(self) -> list[Any]:
        """Return the fields that hold for every line."""
        return [self[name] for name in type(self).base_fields if name != "request_key"]

    def clean(self) -> dict[str, Any]:
        """Ask for the moisture of what came, and for packs at all."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        for line in self.lines:
            self._check_line(line, given)
        if not self.errors and not any(given.get(f"packs_{line.pk}") for line in self.lines):
            raise ValidationError("Give the packs that came, of at least one line.")
        return given

    def _check_line(self, line: PurchaseLine, given: Mapping[str, Any]) -> None:
        packs, _, moisture, *_ = names_of(line)
        came = given.get(packs)
        if not came:
            return
        if came > line.packs_to_come:
            text = f"Of {line.fibre}, at most {line.packs_to_come} can still come."
            self.add_error(packs, f"{text} Enter what came beyond the order as a lot of its own.")
        if given.get(moisture) is None and moisture not in self.errors:
            text = f"Give the moisture of {line.fibre}, as on the label or as weighed."
            self.add_error(moisture, text)

    @property
    def arrivals(self) -> list[Arrived]:
        """What came, line by line; a mass left blank is that of the packs by their label."""
        found = []
        for line in self.lines:
            packs, mass, moisture, known, wet = (
                self.cleaned_data.get(name) for name in names_of(line)
            )
            if packs:
                found.append(
                    Arrived(
                        line=line,
                        packs=packs,
                        as_is_mg=packs * line.pack_mg if mass is None else mass,
                        moisture=moisture,
                        moisture_known=known or Lot.MoistureKnown.LABEL,
                        is_wet=bool(wet),
                        place=self.cleaned_data["place"],
                        remarks=self.cleaned_data["remarks"],
                    )
                )
        return found


def names_of(line: PurchaseLine) -> tuple[str, ...]:
    """Return the names of the fields of a line."""
    return tuple(f"{what}_{line.pk}" for what in ("packs", "mass", "moisture", "known", "wet"))


def _fields_of(line: PurchaseLine, system: System) -> dict[str, forms.Field]:
    packs, mass, moisture, known, wet = names_of(line)
    pack = show_mass(line.pack_mg, system=system)
    return {
        packs: packs_field(
            "Packs that came",
            initial=line.packs_to_come,
            help_text="Clear it if none came.",
        ),
        mass: MassField(
            label="Mass as it is",
            required=False,
            stored=True,
            positive=True,
            help_text=f"Without wrapping. Empty: {pack} a pack, by the label.",
        ),
        moisture: ShareField(
            label="Moisture", required=False, initial=line.moisture, validators=[some_dry]
        ),
        known: forms.ChoiceField(
            label="Known from",
            required=False,
            choices=[
                (Lot.MoistureKnown.LABEL, "The label"),
                (Lot.MoistureKnown.WEIGHED, "A weighed sample"),
                (Lot.MoistureKnown.ASSUMED, "Assumed"),
            ],
            initial=Lot.MoistureKnown.LABEL,
        ),
        wet: forms.BooleanField(label="It came wet", required=False),
    }


def _to_come(line: PurchaseLine, system: System) -> str:
    packs = "1 pack" if line.packs_to_come == 1 else f"{line.packs_to_come} packs"
    dry = show_mass(line.to_come_mg, system=system)
    form = f"{line.form}; " if line.form else ""
    return f"{form}{packs} to come, {dry} oven-dry at the {show_share(line.moisture)} agreed"
