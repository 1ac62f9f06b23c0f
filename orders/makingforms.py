"""The form on which a making is planned or changed, and the filters of the list."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms
from django.db.models import Q
from django_filters import ChoiceFilter

from fibres.models import Drying
from orders.calc.forming import form as formed
from orders.forms import still_offered
from orders.makings import doubts, planning
from orders.makings.lots import to_form
from orders.models import Commission, Dryer, Making, Sheet
from orders.snapshot import read_shrinkages
from studio.doubts import AskingMixin
from studio.errors import StudioError
from studio.forms import CountField, DayField, HouseModelForm, ShareField
from studio.lists import DayFilter, HouseFilterSet, WordsFilter
from studio.models import Mould, Studio, Vat

AS_USUAL = "As the sheet says"


class MakingForm(AskingMixin, HouseModelForm):
    """A making: for what, how many, on which day, and with what."""

    wanted_good = CountField(
        unit="sheets", least=1, most=1_000_000, label="Good sheets wanted",
        error_messages={"required": "Give a whole number, 1 or more."},
    )  # fmt: skip
    pulls = CountField(
        unit="pulls", least=1, most=1_000_000, required=False, label="Pulls to form",
        help_text="Left empty, so many that the good sheets are there as surely as the studio "
        "wants them.",
    )  # fmt: skip
    planned_on = DayField(label="Day at the vat")
    consistency = ShareField(
        required=False,
        label="Vat at",
        help_text="Left empty, the draw of the mould gives it, or the studio’s usual figure.",
    )
    thick_consistency = ShareField(label="Stuff at", help_text="What tops up the vat.")
    beaten_minutes = CountField(
        unit="minutes", most=6000, required=False, label="Beat for", help_text="Where it is known."
    )

    class Meta:
        model = Making
        fields = [
            "commission", "sheet", "wanted_good", "planned_on", "pulls", "mould", "drying",
            "dryer", "vat", "consistency", "thick_consistency", "beaten_minutes", "remarks",
        ]  # fmt: skip
        widgets = {"remarks": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        making, fields = self.instance, self.fields
        fields["mould"].queryset = still_offered(Mould.objects.all(), making.mould_id)
        fields["vat"].queryset = still_offered(Vat.objects.all(), making.vat_id)
        fields["vat"].empty_label = "None: the studio’s usual heel counts"
        fields["dryer"].queryset = still_offered(Dryer.objects.all(), making.dryer_id)
        if not making._state.adding:
            del fields["commission"], fields["sheet"]
            return
        fields["commission"].queryset = Commission.objects.filter(
            state__in=Commission.PROMISES
        ).order_by("due", "ref")
        fields["commission"].empty_label = "None: for the studio itself"
        fields["sheet"].queryset = Sheet.objects.filter(closed_on__isnull=True)
        fields["sheet"].required = False
        fields["sheet"].empty_label = "The one that is asked for"
        fields["sheet"].help_text = "To be chosen where it is for no commission."
        fields["mould"].empty_label = AS_USUAL
        fields["drying"].required = False
        fields["drying"].choices = [("", AS_USUAL), *Drying.choices]
        fields["dryer"].empty_label = "One that dries it so, if there is one"
        if "drying" not in (kwargs.get("initial") or {}):
            self.initial["drying"] = ""

    def clean(self) -> dict[str, Any]:
        """Take from sheet and studio what a new making leaves open."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if self.instance._state.adding:
            self._fill(given)
        dryer, drying = given.get("dryer"), given.get("drying")
        if dryer and drying and dryer.drying != drying:
            word = str(dryer.get_drying_display()).lower()
            self.add_error("dryer", f"{dryer} dries another way: {word}. Choose another.")
        mould, vat = given.get("mould"), given.get("vat")
        if mould and vat and not planning.goes_into(mould, vat):
            self.add_error("vat", f"{mould} does not go into {vat}. Choose a larger vat, or none.")
        return given

    def _fill(self, given: dict[str, Any]) -> None:
        commission = given.get("commission")
        sheet = given.get("sheet") or (commission.sheet if commission else None)
        if sheet is None:
            if "sheet" not in self.errors and "commission" not in self.errors:
                self.add_error("sheet", "Choose the sheet, or a commission above.")
            return
        given["sheet"] = sheet
        if "mould" in given and given["mould"] is None and not _is_closed(sheet.mould):
            given["mould"] = sheet.mould
        if not given.get("drying") and "drying" not in self.errors:
            given["drying"] = sheet.drying
        if "dryer" in given and given["dryer"] is None:
            given["dryer"] = planning.usual_dryer(given.get("drying", ""))

    def _post_clean(self) -> None:
        super()._post_clean()
        if not self.errors:
            self._refuse_what_cannot_be_formed()
        self.ask(self.cleaned_data)

    def doubts(self, given: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Ask about far too few pulls, where a number was given."""
        if given.get("pulls"):
            yield "pulls", doubts.of_pulls(self.instance)

    def _refuse_what_cannot_be_formed(self) -> None:
        making, studio, shrinkages = self.instance, Studio.current(), read_shrinkages()
        try:
            spec = planning.spec_of(making, studio, shrinkages)
            making.pulls = making.pulls or planning.safe_pulls(spec, making.wanted_good)
            formed(to_form(making, studio, shrinkages))
        except StudioError as refusal:
            self.add_error(refusal.field if refusal.field in self.fields else None, str(refusal))


def _is_closed(row: Any) -> bool:
    return row is not None and row.is_closed


class MakingFilter(HouseFilterSet):
    """Makings by state, day and words."""

    state = ChoiceFilter(
        choices=[("open", "Open: planned or at the vat"), *Making.State.choices],
        method="in_state",
        label="State",
    )
    from_day = DayFilter(field_name="planned_on", lookup_expr="gte", label="From")
    to_day = DayFilter(field_name="planned_on", lookup_expr="lte", label="Up to")
    words = WordsFilter(("ref", "sheet__name", "for_words", "remarks"))

    def in_state(self, rows: Any, name: str, value: str) -> Any:
        """Keep one state, or those that belong together."""
        wanted = Q(state__in=Making.OPEN) if value == "open" else Q(state=value)
        return rows.filter(wanted)
