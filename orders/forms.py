"""The forms of clients, sheets and commissions."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from hashlib import sha256
from typing import Any

from django import forms
from django.db.models import Q
from django.template.loader import render_to_string
from django.utils.functional import cached_property
from django.utils.safestring import SafeString

from fibres import offshelf
from fibres.models import Furnish, FurnishPart, Lot
from orders import sheetsinhand, snapshot
from orders.models import Client, Commission, Sheet
from studio.errors import StudioError
from studio.forms import (
    CountField,
    DayField,
    GrammageField,
    HouseForm,
    HouseModelForm,
    LengthField,
    NumberField,
    ShareField,
    SizeField,
)
from studio.models import Mould, Studio
from studio.units import System, show_mass, show_number
from studio.widgets import FoldedChoices

# From here on a sheet is a board, and a slip of the finger likelier than a wish.
# Common practice, no source.
BOARD = Decimal(650)
THIN = Decimal(20)


def still_offered(rows: Any, kept: Any) -> Any:
    """Return rows that are not closed, and the one that is chosen already."""
    return rows.filter(Q(closed_on__isnull=True) | Q(pk=kept))


# As many lots as a page can list; the newest first. A sheet that is chosen needs far fewer.
MOST_LISTED = 300
LONGEST_KEY = 18
# Above this a sheet is no longer dry paper.
HALF = Decimal("0.5")


class LotsField(forms.ModelMultipleChoiceField):
    """Some lots, listed fibre by fibre; any lot with fibre left can be sent."""

    default_error_messages = {"invalid_pk_value": "Choose one of those offered."}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(Lot.objects.none(), widget=FoldedChoices(nothing="Any lot"), **kwargs)

    def offer(self, kept: list[int], fibres: set[int] | None, system: System) -> None:
        """List lots of these fibres, of all where none are named, and those that are kept."""
        may = Lot.objects.select_related("fibre").order_by("-received_on", "-pk")
        self.queryset = may.filter(Q(oven_dry_mg__gt=0) | Q(pk__in=kept))
        listed = (
            self.queryset
            if fibres is None
            else may.filter(Q(oven_dry_mg__gt=0, fibre__in=fibres) | Q(pk__in=kept))
        )
        groups: dict[str, list[tuple[int, str]]] = {}
        lots = sorted(listed[:MOST_LISTED], key=lambda lot: (lot.fibre.name, lot.pk))
        out = offshelf.weighed_out(lot.pk for lot in lots)
        for lot in lots:
            # What lies at the vat is no more to be had than what is used.
            shelved = lot.oven_dry_mg - sum(out.get(lot.pk, {}).values())
            left = show_mass(shelved, system=system)
            groups.setdefault(lot.fibre.name, []).append((lot.pk, f"{lot.ref}, {left} left"))
        self.choices = list(groups.items())


class ClientForm(HouseModelForm):
    """A client."""

    class Meta:
        model = Client
        fields = ["name", "contact", "remarks"]
        widgets = {"remarks": forms.Textarea(attrs={"rows": 3})}


class SheetForm(HouseModelForm):
    """A sheet: what it is, how it is made, and what is lost on the way."""

    size = SizeField(label="Dry size", help_text="Such as A5, 8.5 x 11 in or 210 × 297 mm.")
    grammage = GrammageField(
        stored=True,
        positive=True,
        help_text="Of the finished sheet. A weight in pounds needs its grade: 32 lb bond.",
    )
    trim_um = LengthField(
        stored=True, required=False, label="Cut off each side", help_text="Of the dry pull."
    )
    sheet_moisture = ShareField(
        most=HALF,
        required=False,
        label="Moisture",
        help_text="Left empty, the studio's own figure counts.",
    )
    non_fibre_share = ShareField(
        label="Not fibre", help_text="Filler, sizing and pigment in the finished sheet."
    )
    retention = ShareField(
        label="Stays on the mould", help_text="Of the fibre in the vat; the rest drains away."
    )
    broke = ShareField(label="Broke", help_text="Faulty and pulped again.")
    retree = ShareField(label="Retree", help_text="Slightly faulty, not sent as good.")
    minutes_per_pull = NumberField(
        unit="minutes", most=600, required=False, label="A pull, all in",
        help_text="Left empty, the studio's own figure counts.",
    )  # fmt: skip
    setup_minutes = CountField(
        unit="minutes", most=6000, required=False, label="Set up and clear",
        help_text="Left empty, the studio's own figure counts.",
    )  # fmt: skip
    # What was asked about once is not asked again.
    meant = forms.CharField(required=False, widget=forms.HiddenInput, max_length=20)

    class Meta:
        model = Sheet
        fields = [
            "name", "grammage", "furnish", "edges", "mould", "trim_um", "drying",
            "sheet_moisture", "non_fibre_share", "retention", "broke", "retree",
            "minutes_per_pull", "setup_minutes",
        ]  # fmt: skip
        widgets = {"edges": forms.RadioSelect}

    field_order = ["name", "size", "grammage", "furnish", "edges", "mould"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sheet = self.instance
        if not sheet._state.adding:
            self.initial["size"] = sheet.size
        self.fields["furnish"].queryset = still_offered(Furnish.objects.all(), sheet.furnish_id)
        self.fields["mould"].queryset = still_offered(Mould.objects.all(), sheet.mould_id)
        self.fields["mould"].empty_label = "None chosen yet"

    def clean_trim_um(self) -> int:
        """Take nothing for 0."""
        return self.cleaned_data["trim_um"] or 0

    def clean_grammage(self) -> Decimal:
        """Ask once about a sheet that is a board."""
        grammage: Decimal = self.cleaned_data["grammage"].quantize(Decimal("0.01"))
        if grammage <= BOARD or self.data.get(self.add_prefix("meant")) == str(grammage):
            return grammage
        # Put into the page that goes back, so that the same figure is taken the next time.
        self.data = self.data.copy()
        self.data[self.add_prefix("meant")] = str(grammage)
        tenth = grammage / 10
        did_you = f" Did you mean {show_number(tenth)}?" if tenth >= THIN else ""
        raise forms.ValidationError(
            f"{show_number(grammage)} g/m² is board.{did_you} Enter it once more if it is meant.",
            code="board",
        )

    def clean(self) -> dict[str, Any]:
        """Refuse a sheet that cannot be reckoned with."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if given.get("edges") == Sheet.Edges.TRIMMED and "mould" in given and not given["mould"]:
            self.add_error(
                "mould", "Choose the mould, so that the cuts of a pull can be laid out."
            )
        broke, retree = given.get("broke"), given.get("retree")
        if broke is not None and retree is not None and broke + retree >= 1:
            self.add_error("retree", "Broke and retree come to all sheets. Leave some good.")
        return given

    def _post_clean(self) -> None:
        size = self.cleaned_data.get("size")
        if size is not None:
            self.instance.width_um, self.instance.height_um = size.width_um, size.height_um
        super()._post_clean()
        if not self.errors:
            self._refuse_what_cannot_be_made()

    def _refuse_what_cannot_be_made(self) -> None:
        try:
            spec = snapshot.spec_of(self.instance, Studio.current(), snapshot.read_shrinkages())
            spec.at_least_one_per_pull()
        except StudioError as refusal:
            self.add_error(refusal.field if refusal.field in self.fields else None, str(refusal))


class CommissionForm(HouseModelForm):
    """A commission: for whom, what, how many, by when, and what the client limits."""

    new_client = forms.CharField(
        max_length=80, required=False, label="Or a new client",
        help_text="Where none is chosen above: a name not in the list yet.",
    )  # fmt: skip
    good_quantity = CountField(
        unit="sheets", least=1, most=1_000_000, label="Good sheets",
        error_messages={"required": "Give a whole number, 1 or more."},
    )  # fmt: skip
    due = DayField(help_text="Day it has to leave the studio.")
    only_lots = LotsField(
        label="Only these lots", required=False,
        help_text="None ticked: any lot that fits. They have to hold every fibre of the furnish.",
    )  # fmt: skip
    not_before = DayField(
        label="Not made before", required=False,
        help_text="Such as the day on which the client gives the wording free.",
    )  # fmt: skip
    priority = CountField(least=1, most=9, initial=5, help_text="1 is served first; 5 is usual.")
    tolerance_over = ShareField(
        required=False, label="Client takes over", help_text="Up to so much more than ordered."
    )
    claim_recycled = ShareField(
        required=False, label="Recycled, at least",
        help_text="What the client wants to say of it. Each making is held beside it.",
    )  # fmt: skip
    state = forms.ChoiceField(
        label="It is",
        widget=forms.RadioSelect,
        initial=Commission.State.ENQUIRY,
        choices=[
            (Commission.State.ENQUIRY, "An enquiry"),
            (Commission.State.QUOTED, "Quoted"),
            (Commission.State.AGREED, "Agreed: fibre is set aside"),
        ],
    )

    class Meta:
        model = Commission
        fields = [
            "client", "title", "sheet", "good_quantity", "due", "priority", "no_scrap",
            "not_before", "all_or_nothing", "claim_recycled", "tolerance_over", "remarks",
        ]  # fmt: skip
        widgets = {"remarks": forms.Textarea(attrs={"rows": 3})}
        help_texts = {
            "all_or_nothing": "Without all its fibre none is set aside for it.",
        }

    LIMITS = ("no_scrap", "only_lots", "not_before", "all_or_nothing", "claim_recycled")
    field_order = ["client", "new_client", "title", "sheet", "good_quantity", "due", "state"]

    def __init__(self, *args: Any, system: System = "metric", **kwargs: Any) -> None:
        super().__init__(*args, system=system, **kwargs)
        commission = self.instance
        client, sheet = self.fields["client"], self.fields["sheet"]
        client.queryset = still_offered(Client.objects.all(), commission.client_id)
        client.required, client.empty_label = False, "Choose one"
        client.help_text = "This or a new client below; one of the two is needed."
        sheet.queryset = still_offered(
            Sheet.objects.select_related("furnish", "mould"), commission.sheet_id
        )
        sheet.empty_label = "Choose one"
        if not commission._state.adding:
            del self.fields["state"]
            self.initial["only_lots"] = self.kept_lots
        self.fields["only_lots"].offer(self.kept_lots, self._wanted_fibres(), system)

    def shorten(self, waits: Iterable[str]) -> None:
        """Ask only for a name where there is no client to choose."""
        super().shorten(waits)
        if not self.fields["client"].queryset.exists():
            self.fields["client"].widget = forms.HiddenInput()
            new = self.fields["new_client"]
            new.required, new.label = True, "Client"
            new.help_text = "A name; it is added to the clients."

    @cached_property
    def kept_lots(self) -> list[int]:
        """Return the keys of the lots it is limited to as it is kept."""
        if self.instance._state.adding:
            return []
        return sorted(self.instance.only_lots.values_list("pk", flat=True))

    def _wanted_fibres(self) -> set[int] | None:
        """Return the fibres of the sheet that is chosen; None where none is chosen yet."""
        sheet = str(self["sheet"].value() or "")
        if not sheet.isdecimal() or len(sheet) > LONGEST_KEY:
            return None
        return {pk for pks, _ in _fibres_of(int(sheet)) for pk in pks}

    @property
    def rows(self) -> SafeString:
        """Render the rows, with what the client limits apart from the rest."""
        if self.waits:
            return super().rows
        fields = [field for field in self.visible_fields() if field.name not in self.LIMITS]
        # What stands behind the day due is told after the limits: how many more, and remarks.
        after = [field for field in fields if field.name in {"tolerance_over", "remarks"}]
        return render_to_string(
            "orders/_commission_rows.html",
            {
                "hidden": self.hidden_fields(),
                "before": [field for field in fields if field not in after],
                "limits": [self[name] for name in self.LIMITS],
                "after": after,
            },
        )

    def version_of(self, row: Any) -> str:
        """Mark the lots it is limited to as well."""
        lots = sorted(row.only_lots.values_list("ref", flat=True))
        return sha256(f"{super().version_of(row)} {lots}".encode()).hexdigest()[:16]

    def differences(self, stored: Any) -> list[str]:
        """Say as well which lots it is limited to now."""
        told = super().differences(stored)
        refs = set(stored.only_lots.values_list("ref", flat=True))
        if refs != {lot.ref for lot in self.cleaned_data.get("only_lots", ())}:
            told.append(f"{self['only_lots'].label}: {', '.join(sorted(refs)) or 'any'}")
        return told

    def clean_tolerance_over(self) -> Decimal:
        """Take nothing for 0."""
        return self.cleaned_data["tolerance_over"] or Decimal(0)

    def clean_claim_recycled(self) -> Decimal | None:
        """Take nothing for 0: who claims nothing has no claim."""
        return self.cleaned_data["claim_recycled"] or None

    def clean_good_quantity(self) -> int:
        """Refuse fewer than have been sent, as the service does under its lock."""
        good: int = self.cleaned_data["good_quantity"]
        if not self.instance._state.adding:
            try:
                sheetsinhand.refuse_fewer_than_sent(self.instance, good)
            except StudioError as refusal:
                raise forms.ValidationError(str(refusal)) from None
        return good

    def clean_new_client(self) -> str:
        """Set the name without needless spaces."""
        return " ".join(self.cleaned_data["new_client"].split())

    def clean(self) -> dict[str, Any]:
        """Take one client: chosen, or new."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        chosen, new = given.get("client"), given.get("new_client")
        if chosen and new:
            self.add_error("new_client", "Choose a client or give a new name, not both.")
        if not chosen and not new and not {"client", "new_client"} & set(self.errors):
            self.add_error("client", "Choose a client, or give a new name below.")
        self._look_at_limits(given)
        if given.get("state"):
            self.instance.state = given["state"]
        return given

    def _look_at_limits(self, given: dict[str, Any]) -> None:
        """Refuse days and lots by which it could never be made."""
        due, not_before = given.get("due"), given.get("not_before")
        if due and not_before and not_before > due:
            self.add_error("not_before", "This is after the day due. Give an earlier day.")
        lots, sheet = given.get("only_lots"), given.get("sheet")
        if not lots or not sheet:
            return
        held = {lot.fibre_id for lot in lots}
        lacking = [name for pks, name in _fibres_of(sheet.pk, needed=True) if not held & pks]
        if lacking:
            self.add_error(
                "only_lots",
                f"None of these lots holds {' or '.join(lacking)}, and {sheet} cannot be made "
                "without. Tick one of it as well, or none at all.",
            )


def _fibres_of(sheet: int, *, needed: bool = False) -> list[tuple[set[int], str]]:
    """Return each part of a sheet's furnish: the keys of its fibres, and what it is called.

    Only what is ``needed`` leaves out a part whose share may fall to nothing.
    """
    parts = (
        FurnishPart.objects.filter(furnish__sheets=sheet)
        .select_related("fibre")
        .prefetch_related("substitutes")
    )
    return [
        ({part.fibre_id, *(fibre.pk for fibre in part.substitutes.all())}, part.fibre.name)
        for part in parts
        if part.limits[0] or not needed
    ]


class MoveForm(HouseForm):
    """One step of a commission to another state."""

    to = forms.ChoiceField(choices=Commission.State.choices, widget=forms.HiddenInput)
