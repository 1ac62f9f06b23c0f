"""The form of a furnish with its three lists: fibres, additions, shrinkages."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms import BaseInlineFormSet, inlineformset_factory
from django.utils.functional import cached_property

from fibres.forms.common import above_zero
from fibres.forms.fibres import SAME_NAME, short_text
from fibres.models import Addition, Fibre, Furnish, FurnishPart, Shrinkage
from studio.forms import HouseModelForm, MoneyField, RowModelForm, ShareField
from studio.units import show_share
from studio.widgets import FoldedChoices

BLANK_ROWS = 3
MOST_ROWS, MOST_READ = 40, 60
MEANWHILE = (
    "Somebody changed this furnish meanwhile. Look at it again, and enter your change once more."
)
NOTHING_GIVES = (
    "More of it is less of another fibre. Give another a least below its share, or leave this "
    "empty."
)
NOTHING_TAKES = (
    "Less of it is more of another fibre. Give another a most above its share, or leave this "
    "empty."
)
WHOLE = Decimal(1)
MOST_SHRINKAGE = Decimal("0.6")


class FurnishForm(HouseModelForm):
    """The name of a furnish."""

    remarks = short_text()

    class Meta:
        model = Furnish
        fields = ["name", "remarks"]
        error_messages = {"name": {"unique": SAME_NAME}}


class ListedFibreField(forms.ModelChoiceField):
    """A fibre out of a list that was read once for all rows."""

    def offer(self, fibres: Iterable[Fibre]) -> None:
        """Offer these fibres, without asking the database for them again."""
        self.listed = {str(fibre.pk): fibre for fibre in fibres}
        named = [(fibre.pk, fibre.name) for fibre in self.listed.values()]
        self.choices = [("", self.empty_label), *named]

    def to_python(self, value: Any) -> Fibre | None:
        """Find the fibre in the list."""
        if value in self.empty_values:
            return None
        if str(value) not in self.listed:
            raise ValidationError(self.error_messages["invalid_choice"], code="invalid_choice")
        return self.listed[str(value)]


class ListedFibresField(forms.MultipleChoiceField):
    """Some fibres out of a list that was read once for all rows."""

    def offer(self, fibres: Iterable[Fibre]) -> None:
        """Offer these fibres, without asking the database for them again."""
        self.listed = {str(fibre.pk): fibre for fibre in fibres}
        self.choices = [(pk, fibre.name) for pk, fibre in self.listed.items()]

    def prepare_value(self, value: Any) -> Any:
        """Show fibres by their keys."""
        return _keys(value)

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare keys with keys."""
        return super().has_changed(_keys(initial), data)

    def clean(self, value: Any) -> list[Fibre]:
        """Find the fibres in the list."""
        return [self.listed[key] for key in dict.fromkeys(super().clean(value))]


def _keys(fibres: Any) -> list[str]:
    return [str(fibre.pk) if isinstance(fibre, Fibre) else str(fibre) for fibre in fibres or ()]


class RowOfMany(RowModelForm):
    """A row that is compared with the others as they were sent, not as they were kept before."""

    def validate_unique(self) -> None:
        """Leave doubles to the formset: two rows may exchange what they say."""

    def validate_constraints(self) -> None:
        """Leave the rules of the table to the fields and the formset, for the same reason."""


class PartForm(RowOfMany):
    """One fibre by its share of the dry fibre."""

    fibre = ListedFibreField(queryset=Fibre.objects.all())
    share = ShareField(label="Share", validators=[above_zero])
    least = ShareField(label="Least", required=False)
    most = ShareField(label="Most", required=False)
    substitutes = ListedFibresField(
        label="May be replaced by",
        required=False,
        widget=FoldedChoices(nothing="Nothing"),
    )

    class Meta:
        model = FurnishPart
        fields = ["fibre", "share", "least", "most", "substitutes"]

    def __init__(self, *args: Any, fibres: Sequence[Fibre] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # A fibre that was closed since stays in the furnishes that have it.
        kept = {str(self.instance.fibre_id), *_keys(self.initial.get("substitutes"))}
        offered = [
            fibre
            for fibre in fibres
            if str(fibre.pk) in kept or not (fibre.is_closed or fibre.is_refused)
        ]
        self.fields["fibre"].offer(offered)
        self.fields["substitutes"].offer(offered)

    def clean(self) -> dict[str, Any]:
        """Keep the share between its least and its most."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        share, least, most = (given.get(name) for name in ("share", "least", "most"))
        if share is None:
            return given
        if least is not None and least > share:
            self.add_error("least", f"Give {_percent(share)} or less: the share lies above it.")
        if most is not None and most < share:
            self.add_error("most", f"Give {_percent(share)} or more: the share lies below it.")
        return given

    @property
    def room(self) -> tuple[Decimal, Decimal]:
        """How far the share may fall and rise."""
        given = self.cleaned_data
        share: Decimal = given["share"]
        least, most = given.get("least"), given.get("most")
        down = Decimal(0) if least is None else share - least
        return down, Decimal(0) if most is None else most - share


class AdditionForm(RowModelForm):
    """One addition by its dose on the dry fibre."""

    dose = ShareField(label="Dose on dry fibre", validators=[above_zero])
    minor_per_kg = MoneyField(label="Price a kilogram", required=False)

    class Meta:
        model = Addition
        fields = ["name", "kind", "dose", "minor_per_kg"]


class ShrinkageForm(RowOfMany):
    """How far the furnish shrinks in one way of drying."""

    across = ShareField(most=MOST_SHRINKAGE)
    along = ShareField(most=MOST_SHRINKAGE)

    class Meta:
        model = Shrinkage
        fields = ["drying", "across", "along"]


class Rows(BaseInlineFormSet):
    """Rows of a furnish; a row that says what another says is named in plain words."""

    default_error_messages = {
        **BaseInlineFormSet.default_error_messages,
        "too_many_forms": "Give at most %(num)d rows.",
    }
    twice = "Two rows say the same. Put them together in one row."

    def get_unique_error_message(self, unique_check: Any) -> str:
        """Say what to do about two rows of the same thing."""
        return self.twice

    def get_form_error(self) -> str:
        """Say the same beside the second of the two rows."""
        return self.twice

    def save(self, commit: bool = True) -> Any:
        """Take out what changes before it is put in again, so that rows can exchange fibres."""
        gone = self.deleted_forms
        changed = [form for form in self.initial_forms if form in gone or form.has_changed()]
        self.model.objects.filter(pk__in=[form.instance.pk for form in changed]).delete()
        return super().save(commit=commit)


class PartRows(Rows):
    """The fibres of a furnish: at least one, and all of it together exactly 100 %."""

    twice = "A fibre stands in two rows. Put its shares together in one row."
    is_short = False

    @cached_property
    def fibres(self) -> list[Fibre]:
        """Every fibre, read once for all rows."""
        return list(Fibre.objects.all())

    def get_form_kwargs(self, index: int | None) -> dict[str, Any]:
        """Give every row the same list."""
        return {**super().get_form_kwargs(index), "fibres": self.fibres}

    def shorten(self) -> None:
        """Show one new row with only what it cannot do without."""
        self.is_short, self.extra, self.can_delete = True, 1, False

    def full_clean(self) -> None:
        """Say one thing of rows that another page took out, and not one of each row."""
        super().full_clean()
        if any("id" in form.errors for form in self.initial_forms):
            for form in self.initial_forms:
                form.errors.pop("id", None)
            self._non_form_errors = self.error_class([MEANWHILE], error_class="nonform")

    def shown_pks(self) -> set[int]:
        """Return the keys of the parts that the page was made with."""
        return {form.instance.pk for form in self.initial_forms}

    def clean(self) -> None:
        """Add the shares up."""
        super().clean()
        if any(form.errors for form in self._kept()):
            return
        rows = [form for form in self._kept() if form.cleaned_data]
        self._look_at_stand_ins(rows)
        shares = [form.cleaned_data["share"] for form in rows]
        if not shares:
            raise ValidationError("Give at least one fibre with its share of the dry fibre.")
        total = sum(shares, Decimal(0))
        if total < WHOLE:
            raise ValidationError(
                f"Shares come to {_percent(total)} of dry fibre. Add {_percent(WHOLE - total)} "
                "to one of them."
            )
        if total > WHOLE:
            raise ValidationError(
                f"Shares come to {_percent(total)} of dry fibre. Take {_percent(total - WHOLE)} "
                "off one of them."
            )
        self._look_at_limits(rows)

    def _look_at_stand_ins(self, rows: list[Any]) -> None:
        """Refuse a fibre of the furnish as one that stands in for another, or for itself."""
        own = {form.cleaned_data["fibre"] for form in rows}
        for form in rows:
            both = [fibre.name for fibre in form.cleaned_data["substitutes"] if fibre in own]
            if both:
                names, are = " and ".join(both), "is" if len(both) == 1 else "are"
                form.add_error(
                    "substitutes",
                    f"{names} {are} in the furnish already. Let its share vary instead, or take "
                    "it out here.",
                )

    def _look_at_limits(self, rows: list[Any]) -> None:
        """Refuse a limit that nothing can come of: more of one fibre is less of another."""
        for form in rows:
            down, up = form.room
            others = [other.room for other in rows if other is not form]
            if up and not any(other_down for other_down, _ in others):
                form.add_error("most", NOTHING_GIVES)
            if down and not any(other_up for _, other_up in others):
                form.add_error("least", NOTHING_TAKES)

    def add_fields(self, form: Any, index: int | None) -> None:
        """Put the list of fibres last, under the figures and the box that takes a row out."""
        super().add_fields(form, index)
        if self.is_short:
            for name in ("least", "most", "substitutes"):
                del form.fields[name]
        form.order_fields([name for name in form.fields if name != "substitutes"])

    def get_queryset(self) -> Any:
        """Read what may stand in along with the parts."""
        if not hasattr(self, "_queryset"):
            self.queryset = self.queryset.prefetch_related("substitutes")
        return super().get_queryset()

    def _kept(self) -> list[Any]:
        return [form for form in self.forms if not self._should_delete_form(form)]


def _percent(share: Decimal) -> str:
    """Word a share with every place that was typed: a rounded sum would be no help."""
    places = max(0, -int((share * 100).normalize().as_tuple().exponent))
    return show_share(share, places=places)


class ShrinkageRows(Rows):
    """The shrinkages of a furnish, one for each way of drying."""

    twice = "A way of drying stands in two rows. Keep one of them."


LIMITS = {
    "extra": BLANK_ROWS,
    "max_num": MOST_ROWS,
    "absolute_max": MOST_READ,
    "validate_max": True,
}
PartFormSet = inlineformset_factory(
    Furnish, FurnishPart, form=PartForm, formset=PartRows, **LIMITS
)
AdditionFormSet = inlineformset_factory(
    Furnish, Addition, form=AdditionForm, formset=Rows, **LIMITS
)
ShrinkageFormSet = inlineformset_factory(
    Furnish, Shrinkage, form=ShrinkageForm, formset=ShrinkageRows, **LIMITS
)
