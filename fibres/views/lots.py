"""Lots: the list, and the page of one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.dateformat import format as day_in_words
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from fibres import lotbook, lotentries, offshelf, queries, stocktaking
from fibres.calc import moisture as wet
from fibres.explained import lots as explained
from fibres.filters import LotFilter
from fibres.forms.lots import LotForm
from fibres.models import Lot, MoistureTest, Movement
from fibres.offshelf import refuse_weighed_out
from fibres.tables import BookTable, LotTable
from fibres.tables.lotentries import LotEntryTable
from studio import roles
from studio.charts import stepped
from studio.errors import StudioError
from studio.explaining import Explained, rows_of
from studio.lists import ListPage, house_table
from studio.money import by_mass, show_money
from studio.pages import ClosePage, HousePage, RowPage
from studio.roles import needs
from studio.templatetags.studio import day as day_words
from studio.units import show_mass, show_number, show_share

Pair = tuple[Any, ...]
LINES_ON_A_PAGE = 100


@needs("read")
class LotList(ListPage):
    """Every lot, held or used up."""

    table_class = LotTable
    filterset_class = LotFilter
    heading = "Lots"
    lede = "Every lot that ever came, held or used up."
    note = "Oven-dry is as-is mass less moisture"
    back = ("Store", "store")
    export_name = "lots"
    # Who takes no other list along still takes stock: without money, and without people.
    export_need = "export.stock"
    template_name = "fibres/lot_list.html"

    def get_queryset(self) -> Any:
        """Return lots, the newest first, as far as the reader may see them."""
        return queries.lots_for(self.request.user).order_by("-received_on", "-pk")

    def export_kwargs(self) -> dict[str, Any]:
        """Leave out whom a lot is from in the file of who may take no other list along."""
        return {} if roles.can(self.request.user, "export") else {"exclude": ["source"]}

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the first lot, and the foot of the table."""
        table = shown["table"]
        return explained.listed(self.reader, rows_of(table), is_whole=table.pages is None)


class OneLot:
    """A page about the lot that its address names."""

    request: HttpRequest
    kwargs: dict[str, Any]

    @property
    def lot(self) -> Lot:
        """The lot, read once."""
        known: Lot | None = getattr(self, "_lot", None)
        if known is None:
            lots = queries.lots_for(self.request.user)
            known = self._lot = get_object_or_404(lots, ref__iexact=self.kwargs["ref"])
        return known

    def get_back(self) -> tuple[str, str]:
        """Lead back to the lot."""
        return (f"Lot {self.lot.ref}", self.lot.get_absolute_url())


@needs("read")
class LotPage(OneLot, HousePage, TemplateView):
    """One lot: what is left, how it came to that, and what can be done with it."""

    template_name = "fibres/lot.html"

    def get_back(self) -> tuple[str, str]:
        """Lead back to the store."""
        return ("Store", reverse("store"))

    def get_heading(self) -> str:
        """Return the reference and the fibre."""
        return f"{self.lot.ref} {self.lot.fibre.name}"

    def get_lede(self) -> str:
        """Say what is left and until when it keeps."""
        lot = self.lot
        left, came = (
            show_mass(mass, system=self.studio.units)
            for mass in (lot.oven_dry_mg, lot.received_oven_dry_mg)
        )
        if not lot.oven_dry_mg:
            return f"Used up: nothing is left of {came} oven-dry."
        opening = f"{left} oven-dry is left of {came} received."
        if lot.oven_dry_mg == lot.received_oven_dry_mg:
            opening = f"{left} oven-dry, as it was received."
        opening += self._at_the_vat()
        if not lot.keep_until:
            return opening
        day = day_in_words(lot.keep_until, "j F")
        if self.is_past:
            return f"{opening} It was to be used by {day}."
        return f"{opening} Use it by {day}."

    @cached_property
    def weighed_out(self) -> offshelf.ByMaking:
        """Return what is off the shelf and in the book yet, oven-dry by making."""
        return offshelf.weighed_out([self.lot.pk]).get(self.lot.pk, {})

    @property
    def out_mg(self) -> int:
        """How much that is in all, oven-dry."""
        return sum(self.weighed_out.values())

    def _at_the_vat(self) -> str:
        """Say how much of it lies at the vat, and for which makings."""
        if not self.out_mg:
            return ""
        makings = " and ".join(sorted(self.weighed_out))
        share = "All of it"
        if self.out_mg < self.lot.oven_dry_mg:
            share = f"Of it {show_mass(self.out_mg, system=self.studio.units)}"
        return f" {share} lies weighed out at the vat for {makings}."

    @property
    def hidden_name(self) -> str:
        """The name of the donor where the reader may not know it, or nothing."""
        name: str = self.lot.source.name
        shown = self.lot.source_name  # type: ignore[attr-defined]
        return "" if shown == name else name

    @property
    def is_past(self) -> bool:
        """Whether fibre is left after the day it was to be kept until."""
        lot = self.lot
        until: date | None = lot.keep_until
        return bool(until and lot.oven_dry_mg and until < timezone.localdate())

    def figures(self) -> list[Pair]:
        """Return the named figures of the lot."""
        lot, system = self.lot, self.studio.units
        named = [
            ("Left, oven-dry", lot.oven_dry_mg),
            ("Usable", wet.usable_mg(lot.oven_dry_mg, lot.yield_now)),
        ]
        shelf_mg = wet.as_is_mg(max(lot.oven_dry_mg - self.out_mg, 0), lot.moisture)
        if self.out_mg:
            named += [("On the shelf, as is", shelf_mg), ("At the vat, oven-dry", self.out_mg)]
        else:
            named.append(("Weighs now, as is", shelf_mg))
        found: list[Pair] = [
            (name, *_figure_and_unit(show_mass(mass, system=system))) for name, mass in named
        ]
        if self.sees_money and lot.paid_minor_per_kg is not None:
            minor, unit = by_mass(lot.paid_minor_per_kg, system)
            cost = show_money(minor, self.studio.currency)
            found.append(("Paid, oven-dry", cost, f"per {unit}"))
        return found

    def facts(self) -> list[list[Pair]]:
        """Return what else is known, in two columns."""
        lot = self.lot
        measured = str(lot.get_measured_display())
        if lot.band:
            measured = f"{measured}, ± {show_share(lot.band)}"
        known = str(lot.get_moisture_known_display()).lower()
        own_yield = "of this lot" if lot.preparation_yield is not None else "usual for its fibre"
        what = [
            ("Fibre", lot.fibre.name, lot.fibre.get_absolute_url()),
            ("Form", lot.form),
            ("Where it lies", lot.place),
            ("Measured", measured),
            ("Moisture", f"{show_share(lot.moisture)}, {known}"),
            ("Preparation yield", f"{show_share(lot.yield_now)}, {own_yield}"),
        ]
        whence = [
            ("From", lot.source_name, lot.source.get_absolute_url()),  # type: ignore[attr-defined]
            *self._ordered(),
            ("Received", day_words(lot.received_on)),
            ("As it came", show_mass(lot.as_is_mg, system=self.studio.units)),
            *self._paid(),
            ("Remarks", lotbook.without_donor(lot.remarks, self.hidden_name)),
        ]
        return [what, whence]

    def _ordered(self) -> list[Pair]:
        """Name the purchase that the lot came of."""
        purchase = queries.purchase_of(self.lot)
        return [("Ordered as", purchase.ref, purchase.get_absolute_url())] if purchase else []

    def _paid(self) -> list[Pair]:
        lot = self.lot
        minutes = f"{show_number(lot.sorting_minutes, places=0)} minutes"
        paid: list[Pair] = [("Sorting", minutes if lot.sorting_minutes else "")]
        if self.sees_money and lot.paid_minor is not None:
            paid.insert(0, ("Paid", show_money(lot.paid_minor, self.studio.currency)))
        return paid

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add figures, chart, book and facts."""
        lot, user = self.lot, self.request.user
        movements = list(queries.movements_of(lot))
        tests = list(lot.moisture_tests.select_related("entry__by"))
        book = lotbook.book_of(
            movements,
            tests,
            source_name=lot.source_name,  # type: ignore[attr-defined]
            hidden_name=self.hidden_name,
            system=self.studio.units,
        )
        may_correct = roles.can(user, "store.correct")
        line = self._line_to_weigh()
        return super().get_context_data(
            lot=lot,
            figures=self.figures(),
            chart=self._chart(movements),
            book=house_table(
                self.request,
                BookTable,
                book,
                prefix="book-",
                per_page=LINES_ON_A_PAGE,
                opens_last=True,
                totals={
                    "as_is": wet.as_is_mg(lot.oven_dry_mg, lot.moisture),
                    "left": lot.oven_dry_mg,
                },
                exclude=[] if may_correct else ["put_right"],
            ),
            entries=self._entries(movements, tests),
            facts=self.facts(),
            may_change=may_correct,
            count_line=None if self.out_mg else line,
            not_weighed=self._not_weighed(line),
            may_test=roles.can(user, "store.receive") and bool(lot.oven_dry_mg),
            may_take=roles.can(user, "store.take") and bool(lot.oven_dry_mg),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the figures of the lot."""
        book = [row.record for row in shown["book"].rows]
        return explained.of_one(self.reader, self.lot, book, out_mg=self.out_mg)

    def _entries(self, movements: list[Movement], tests: list[MoistureTest]) -> Any:
        """Return who entered what, as far as the reader may see it."""
        user = self.request.user
        if not lotentries.may_see_any(user):
            return None
        found = lotentries.entries_of(
            self.lot, movements, tests, user=user, hidden_name=self.hidden_name
        )
        return house_table(
            self.request,
            LotEntryTable,
            found,
            prefix="entries-",
            per_page=LINES_ON_A_PAGE,
            opens_last=True,
        )

    def _line_to_weigh(self) -> Any:
        """Return the line of a count that goes on, for who may weigh."""
        may_count = roles.can(self.request.user, "store.count")
        return stocktaking.open_line_of(self.lot) if may_count else None

    def _not_weighed(self, line: Any) -> str:
        """Say why a count that goes on has to wait; nothing where it need not."""
        if line is None or not self.out_mg:
            return ""
        return (
            f"It cannot be weighed for {line.stocktake.ref} yet: some of it is at the vat. "
            "Finish the making or put that back first."
        )

    def _chart(self, movements: list[Movement]) -> Any:
        return stepped(
            points=lotbook.balances(movements),
            plan=[],
            today=timezone.localdate(),
            keep_until=self.lot.keep_until if self.lot.oven_dry_mg else None,
            unit="lb" if self.studio.units == "US" else "kg",
        )


@needs("store.correct")
class LotChange(RowPage):
    """Change what is said of a lot; its mass and moisture are changed by acts."""

    model = Lot
    form_class = LotForm
    slug_field = "ref__iexact"
    noun = "lot"
    lede = "Mass and moisture stay: correct a line of its book, or weigh its moisture."
    side_head = "The lot"
    button = "Keep it"

    def get_heading(self) -> str:
        """Name the lot."""
        return f"Change what is said of {self.row.ref}"

    def changed_words(self, form: Any) -> str:
        """Name what was changed of it; what it said before is not for everybody."""
        given = form.cleaned_data
        names = [name for name in form.Meta.fields if form.initial[name] != given[name]]
        labels = [str(form[name].label) for name in names]
        return f": {', '.join(labels).lower()}" if labels else ""

    def get_back(self) -> tuple[str, str]:
        """Lead back to the lot."""
        return (f"Lot {self.row.ref}", self.row.get_absolute_url())

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what the yield and the price do."""
        return explained.changed(self.reader, self.row)


@needs("store.correct")
class LotClose(ClosePage):
    """Close a lot, or open it again; its movements keep it from being removed."""

    model = Lot
    slug_field = "ref__iexact"
    noun = "lot"
    list_route = "lots"
    template_name = "fibres/lot_close.html"

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Close or open it; say why where it stays open."""
        try:
            return super().post(request, *args, **kwargs)
        except StudioError as refusal:
            messages.error(request, str(refusal))
            return self._ask(status=409)

    def _close(self) -> tuple[str, str]:
        # Whoever weighs out locks the lot as well, so nothing is weighed out meanwhile.
        refuse_weighed_out([Lot.objects.select_for_update().get(pk=self.row.pk)], then="close it")
        return super()._close()


def _figure_and_unit(worded: str) -> tuple[str, str]:
    """Part a mass in words so that its unit can be set small."""
    figure, _, unit = worded.rpartition("\u00a0")
    return figure, unit
