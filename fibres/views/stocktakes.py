"""Counts of the store: the list, one count, and the sheet to take along on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import Count, F, Q, QuerySet, Sum
from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from fibres import stocktaking
from fibres.explained import counting as explained
from fibres.models import Stocktake
from fibres.stocktaking import Row
from fibres.tables.stocktakes import CountTable, ReasonTable, StocktakeTable, place_in_words
from studio import roles
from studio.explaining import Explained, first_of
from studio.lists import ListPage, house_table
from studio.pages import HousePage
from studio.qr import qr_path
from studio.roles import needs
from studio.templatetags.studio import day as day_words
from studio.units import show_mass

State = Stocktake.State


def stocktakes() -> QuerySet[Stocktake]:
    """Return counts with how many lots they have, how many were weighed, and what differs."""
    weighed = Q(lines__oven_dry_mg__isnull=False)
    return Stocktake.objects.annotate(
        lots=Count("lines"),
        weighed=Count("lines", filter=weighed),
        difference_mg=Sum(F("lines__oven_dry_mg") - F("lines__book_oven_dry_mg"), filter=weighed),
    ).order_by("-started_on", "-pk")


@needs("read")
class StocktakeList(ListPage):
    """Every count of the store."""

    template_name = "fibres/stocktake_list.html"
    table_class = StocktakeTable
    heading = "Counts of the store"
    lede = "What was weighed beside what the book had. Nothing moves before a count is posted."
    side_head = "Counts"
    back = ("Store", "store")
    export_name = "stocktakes"

    def get_queryset(self) -> QuerySet[Stocktake]:
        """Return counts, the newest first."""
        return stocktakes()

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the newest count."""
        return explained.listed(self.reader, first_of(shown["table"]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether a count can be begun."""
        may_count = roles.can(self.request.user, "store.count")
        return super().get_context_data(may_count=may_count, **kwargs)


class OneStocktake:
    """A page about the count that its address names."""

    request: HttpRequest
    kwargs: dict[str, Any]

    @cached_property
    def stocktake(self) -> Stocktake:
        """Return the count, read once."""
        return get_object_or_404(Stocktake, ref__iexact=self.kwargs["ref"])

    @cached_property
    def lines(self) -> list[Row]:
        """Return its lots as they stand, read once."""
        return stocktaking.rows_of(self.stocktake)

    @property
    def due(self) -> list[Row]:
        """The lots still to be weighed, or to be weighed again."""
        return [row for row in self.lines if row.is_due]

    @cached_property
    def may_count(self) -> bool:
        """Whether who looks may weigh for it."""
        return self.stocktake.is_open and roles.can(self.request.user, "store.count")

    @cached_property
    def left_to_owner(self) -> str:
        """Why whoever may count has to leave the posting to the owner; else nothing."""
        return stocktaking.left_to_owner(self.lines, self.request.user) if self.may_count else ""

    def get_back(self) -> tuple[str, str]:
        """Lead back to the count."""
        return (f"Count {self.stocktake.ref}", self.stocktake.get_absolute_url())


@needs("read")
class StocktakePage(OneStocktake, HousePage, TemplateView):
    """One count: lot by lot what the book has, what was weighed, and why they differ."""

    template_name = "fibres/stocktake.html"

    def get_back(self) -> tuple[str, str]:
        """Lead back to the list."""
        return ("Counts", reverse("stocktakes"))

    def get_heading(self) -> str:
        """Return reference and place."""
        return f"{self.stocktake.ref} {place_in_words(self.stocktake)}"

    def get_lede(self) -> str:
        """Say how far it is, and what is to be done."""
        weighed = sum(row.is_weighed for row in self.lines)
        told = f"{weighed} of {len(self.lines)} lots weighed."
        if self.stocktake.state == State.GIVEN_UP:
            return f"Given up: nothing was posted. {told}"
        if self.stocktake.state == State.POSTED:
            return f"{told} {self._difference()} was posted."
        again = [row.lot.ref for row in self.lines if row.has_changed]
        if again:
            return f"{told} Weigh again, for it changed since: {', '.join(again)}."
        if self.left_to_owner:
            return f"{told} {self.left_to_owner}"
        return told if self.due else f"{told} It can be posted."

    def _difference(self) -> str:
        change = sum(row.difference_mg or 0 for row in self.lines)
        if not change:
            return "No difference in fibre"
        mass = show_mass(abs(change), system=self.studio.units)
        return f"{mass} oven-dry {'more' if change > 0 else 'less'} than in the book"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the lots, the differences by reason and what can be done."""
        stocktake, weighed = self.stocktake, [row for row in self.lines if row.is_weighed]
        may_count = self.may_count
        return super().get_context_data(
            stocktake=stocktake,
            table=house_table(
                self.request, CountTable, self.lines, paginate=False, orderable=False,
                totals=_totals(weighed), caption=self._caption(),
            ),
            reasons=house_table(
                self.request, ReasonTable, stocktaking.found_by_reason(weighed), prefix="why-",
                paginate=False, orderable=False,
            ),
            may_count=may_count,
            next_due=next(iter(self.due), None) if may_count else None,
            may_post=may_count
            and bool(weighed)
            and not any(row.has_changed for row in weighed)
            and not self.left_to_owner,
            has_weighed=bool(weighed),
            started=day_words(stocktake.started_on),
            posted=day_words(stocktake.posted_on),
            **kwargs,
        )  # fmt: skip

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what differs, and when the owner posts it."""
        return explained.of_one(self.reader, self.lines)

    def _caption(self) -> str:
        unit = "Pounds" if self.studio.units == "US" else "Kilograms"
        return f"{unit}; weighed as is, the rest oven-dry"


def _totals(weighed: list[Row]) -> dict[str, int]:
    if not weighed:
        return {}
    book = sum(row.line.book_oven_dry_mg for row in weighed)
    found = sum(row.line.oven_dry_mg for row in weighed)
    return {"book": book, "found": found, "difference": found - book}


@needs("read")
class StocktakeSheet(OneStocktake, HousePage, TemplateView):
    """The count on paper: the lots in the order of their places, with blanks to write in.

    The figures of the book are left out, so that the scale speaks first.
    """

    template_name = "fibres/stocktake_sheet.html"
    lede = "Take it along where no phone goes. Weigh first; the book is looked at afterwards."

    def get_heading(self) -> str:
        """Name the count."""
        return f"Count sheet {self.stocktake.ref}"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the lots and the code that opens the count."""
        address = self.request.build_absolute_uri(self.stocktake.get_absolute_url())
        path, side = qr_path(address)
        return super().get_context_data(
            stocktake=self.stocktake,
            place=place_in_words(self.stocktake),
            rows=self.lines,
            unit="lb" if self.studio.units == "US" else "kg",
            qr={"path": path, "side": side, "address": address},
            **kwargs,
        )
