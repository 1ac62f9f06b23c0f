"""Pages of sheets in hand: the list, what is spoilt and taken back again, what was counted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property

from orders import sheetsinhand
from orders.deliveryforms import WORDS, CountForm, NotSpoiltForm, SpoilForm
from orders.deliverytables import InHandTable, SpoiltTable
from orders.explained import finished as explained
from orders.filters import InHandFilter, SpoiltFilter
from orders.models import Making, SheetMovement
from orders.views import deliverypanels as panels
from studio import roles
from studio.errors import StudioError
from studio.explaining import Explained
from studio.lists import ListPage
from studio.pages import FormPage
from studio.roles import needs
from studio.templatetags.studio import day as day_words
from studio.units import show_number


@needs("read")
class SheetsInHand(ListPage):
    """Finished sheets that have not left, making by making."""

    template_name = "orders/sheets_in_hand.html"
    table_class = InHandTable
    filterset_class = InHandFilter
    heading = "Sheets in hand"
    back = ("Sheets", "sheets")
    export_name = "sheets in hand"
    note = "The longest here first"

    def get_queryset(self) -> Any:
        """Return makings with sheets in hand."""
        return sheetsinhand.in_hand()

    def get_lede(self) -> str:
        """Say how many there are, and whom they wait for."""
        return panels.in_hand_words(list(sheetsinhand.in_hand()), sheetsinhand.all_made())

    def table_kwargs(self) -> dict[str, Any]:
        """Leave the acts to those who may do them."""
        return {} if self.may_send else {"exclude": ["acts"]}

    @property
    def may_send(self) -> bool:
        """Whether the reader may take sheets out."""
        return roles.can(self.request.user, "store.take")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the promises that wait to be sent."""
        made = sheetsinhand.all_made() if self.may_send else []
        return super().get_context_data(made=made, may_send=self.may_send, **kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how many lie here, by the totals of the page."""
        return [explained.in_hand(shown["table"])]


@needs("read")
class SheetsSpoilt(ListPage):
    """What was entered as spoilt, and what of it was taken back."""

    table_class = SpoiltTable
    filterset_class = SpoiltFilter
    heading = "Spoilt sheets"
    lede = "What was taken out as spoilt. An entry made by mistake is taken back, and stays here."
    back = ("Sheets in hand", "sheets_in_hand")
    export_name = "spoilt sheets"
    note = "The last first"

    def get_queryset(self) -> Any:
        """Return what was entered as spoilt."""
        return sheetsinhand.spoilt()

    def table_kwargs(self) -> dict[str, Any]:
        """Lead who may to taking back."""
        return {"may_take_back": roles.can(self.request.user, "store.correct")}

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what an entry does, by the first of the list."""
        return [explained.spoilt(shown["table"])]


@needs("store.correct")
class SheetsSpoiltBack(FormPage):
    """Put sheets back that were entered as spoilt by mistake."""

    form_class = NotSpoiltForm
    heading = "Take spoilt sheets back"
    button = "Put them back in hand"
    back = ("Spoilt sheets", "sheets_spoilt")
    side_head = "Why"
    note = "What was entered stays in the book"

    @cached_property
    def spoilt(self) -> SheetMovement:
        """Return what was entered as spoilt."""
        return get_object_or_404(sheetsinhand.spoilt(), pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form where they can be taken back."""
        if said := sheetsinhand.kept_spoilt_words(self.spoilt):
            messages.info(request, said)
            return redirect("sheets_spoilt")
        return super().get(request, *args, **kwargs)

    def get_lede(self) -> str:
        """Say what was entered."""
        spoilt = self.spoilt
        sheets = panels.sheets_in_words(-spoilt.sheets, spoilt.quality)
        return (
            f"{sheets} of {spoilt.making.ref} entered as spoilt on "
            f"{day_words(spoilt.happened_on)}: {spoilt.why}"
        )

    def act(self, form: Any, key: Any) -> str:
        """Take them back."""
        given = form.cleaned_data
        sheetsinhand.take_back_spoilt(
            self.spoilt,
            happened_on=given["happened_on"],
            why=given["why"],
            by=self.request.user,
            key=key,
        )
        return reverse("sheets_in_hand")

    def said(self, result: str) -> str:
        """Say that they lie there again."""
        sheets = panels.sheets_in_words(-self.spoilt.sheets, self.spoilt.quality)
        return f"{sheets} of {self.spoilt.making.ref} in hand again."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what taking back does."""
        return [explained.taken_back(-self.spoilt.sheets)]


class SheetsAct(FormPage):
    """A form about the sheets in hand of one making."""

    back = ("Sheets in hand", "sheets_in_hand")

    @cached_property
    def making(self) -> Making:
        """Return the making."""
        rows = Making.objects.select_related("sheet")
        return get_object_or_404(rows, ref__iexact=self.kwargs["ref"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form once finishing has entered the sheets."""
        if said := sheetsinhand.unfinished_words(self.making):
            messages.info(request, said)
            return redirect("sheets_in_hand")
        return super().get(request, *args, **kwargs)

    @property
    def there(self) -> dict[str, int]:
        """Sheets in hand by quality, as the book has them now."""
        found = sheetsinhand.balances([self.making.pk])
        return {quality: found.get((self.making.pk, quality), 0) for quality in WORDS}

    def get_form_kwargs(self) -> dict[str, Any]:
        """Tell the form what is in hand."""
        return {**super().get_form_kwargs(), "there": self.there}

    def get_lede(self) -> str:
        """Say what the book has."""
        there = self.there
        good, retree = (show_number(there[quality]) for quality in WORDS)
        return f"{self.making.sheet.name}: the book has {good} good and {retree} retree in hand."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what the book has."""
        return super().get_context_data(there=self.there, **kwargs)


@needs("store.take")
class SheetsSpoil(SheetsAct):
    """Take sheets out that can no longer be sold."""

    form_class = SpoilForm
    button = "Take them out"
    side_head = "What is spoilt"
    note = "Fibre that is pulped again is entered as a lot"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form where there is something that could spoil."""
        is_finished = not sheetsinhand.unfinished_words(self.making)
        if is_finished and not any(self.there.values()):
            messages.info(request, f"No sheet of {self.making.ref} is in hand.")
            return redirect("sheets_in_hand")
        return super().get(request, *args, **kwargs)

    def get_heading(self) -> str:
        """Name the making."""
        return f"Spoilt sheets of {self.making.ref}"

    def act(self, form: Any, key: Any) -> str:
        """Take them out."""
        given = form.cleaned_data
        sheetsinhand.spoil(
            self.making,
            given["quality"],
            given["sheets"],
            happened_on=given["happened_on"],
            why=given["why"],
            by=self.request.user,
            key=key,
        )
        return reverse("sheets_in_hand")

    def said(self, result: str) -> str:
        """Say that they are out."""
        return f"Taken out of the sheets of {self.making.ref}."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the sheets in hand are counted."""
        return [explained.there(shown["there"])]


@needs("store.take")
class SheetsCount(SheetsAct):
    """Set the sheets in hand to what was counted."""

    form_class = CountForm
    button = "Enter the count"
    side_head = "What lies there"
    note = "A good sheet found to be retree is one less and one more"

    def get_heading(self) -> str:
        """Name the making."""
        return f"Count the sheets of {self.making.ref}"

    def act(self, form: Any, key: Any) -> str:
        """Enter the count."""
        given = form.cleaned_data
        try:
            self.off = sheetsinhand.count(
                self.making,
                form.counted,
                happened_on=given["happened_on"],
                why=given["why"],
                seen=form.seen,
                by=self.request.user,
                key=key,
            )
        except StudioError:
            # The page that goes back shows what the book has now, and the next count is of that.
            form.see(self.there)
            raise
        return reverse("sheets_in_hand")

    def said(self, result: str) -> str:
        """Say what came of it."""
        if not any(self.off.values()):
            return f"{self.making.ref}: the count agrees with the book."
        said = [
            f"{show_number(sheets) if sheets < 0 else f'+{show_number(sheets)}'} {quality}"
            for quality, sheets in self.off.items()
            if sheets
        ]
        return f"{self.making.ref}: {' and '.join(said)} against the book."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what a count changes, by what the book has."""
        return [explained.counted(shown["there"])]
