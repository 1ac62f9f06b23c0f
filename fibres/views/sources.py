"""Sources: the list, the page of one, and the form that enters or changes one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils.dates import MONTHS
from django.views.generic import TemplateView

from fibres import queries
from fibres.explained import buying as explained
from fibres.filters import SourceFilter
from fibres.forms.fibres import SourceForm
from fibres.models import Source
from fibres.tables import LotTable, SourceTable
from fibres.tables.offers import OfferTable
from fibres.tables.purchases import PurchaseTable, masses_in_words
from studio import roles
from studio.explaining import Explained, first_of
from studio.lists import ListPage, house_table
from studio.money import show_money
from studio.pages import ClosePage, HousePage, RowPage
from studio.roles import needs
from studio.templatetags.studio import day as day_words
from studio.units import show_mass


@needs("read")
class SourceList(ListPage):
    """Every supplier and donor, and the studio itself."""

    template_name = "fibres/source_list.html"
    table_class = SourceTable
    filterset_class = SourceFilter
    heading = "Sources"
    lede = "Who sells fibre, who gives scrap, and what came from each."
    export_name = "sources"

    def get_queryset(self) -> Any:
        """Return sources by the names that the reader may know."""
        return queries.sources_for(self.request.user)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what came from the first source."""
        return (explained.came(self.reader, first_of(shown["table"])),)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether a source can be entered."""
        user = self.request.user
        return super().get_context_data(
            may_change=roles.can(user, "sources.change"),
            may_thank=queries.knows_donors(user),
            **kwargs,
        )


@needs("read")
class SourcePage(HousePage, TemplateView):
    """One source: what came from it, and whether it has been thanked."""

    template_name = "fibres/source.html"
    back = ("Sources", "sources")

    @property
    def source(self) -> Any:
        """The source, read once, by the name that the reader may know."""
        known = getattr(self, "_source", None)
        if known is None:
            rows = queries.sources_for(self.request.user)
            known = self._source = get_object_or_404(rows, pk=self.kwargs["pk"])
        return known

    def get_heading(self) -> str:
        """Return its name, or that it is a donor."""
        return str(self.source.name_shown)

    def get_lede(self) -> str:
        """Say what came from it."""
        source = self.source
        if not source.lots_given:
            return "Nothing has come from it yet."
        mass = show_mass(source.given_mg, system=self.studio.units)
        lots = "1 lot" if source.lots_given == 1 else f"{source.lots_given} lots"
        thanks = ""
        if source.kind == Source.Kind.DONOR:
            thanks = " Thanked." if self._is_thanked else " Not thanked for the last of it yet."
        return f"{mass} oven-dry came from it in {lots}.{thanks}"

    @property
    def _is_thanked(self) -> bool:
        thanked = self.source.thanked_on
        return bool(thanked and thanked >= self.source.last_received)

    def facts(self) -> list[list[tuple[Any, ...]]]:
        """Return what is known of it; how to reach a donor is for those who take gifts in."""
        source = self.source
        knows = queries.knows_donors(self.request.user)
        is_donor = source.kind == Source.Kind.DONOR
        what = [
            ("Kind", source.get_kind_display()),
            ("May be named", ("Yes" if source.may_be_named else "No") if is_donor else ""),
            ("In use", "Closed" if source.is_closed else "Yes"),
        ]
        more = [
            ("Last received", day_words(source.last_received)),
            ("Thanked on", day_words(source.thanked_on)),
            ("Contact", source.contact if knows else ""),
            ("Remarks", source.remarks if knows else ""),
        ]
        return [what, more]

    def terms(self) -> list[list[tuple[Any, ...]]]:
        """Return what an order to it takes; what it costs, to those who may see money."""
        source = self.source
        if source.kind != Source.Kind.SUPPLIER:
            return []
        days = source.lead_days
        when = [
            ("Order to delivery", "1 day" if days == 1 else f"{days} days" if days else ""),
            ("Takes orders", season_in_words(source)),
        ]
        return [when, self._costs(source)] if self.sees_money else [when]

    def _costs(self, source: Source) -> list[tuple[Any, ...]]:
        currency = self.studio.currency
        least, free = source.order_minimum_minor, source.free_freight_from_minor
        return [
            ("Freight of an order", show_money(source.freight_minor, currency)),
            ("Least order, goods alone", show_money(least, currency) if least else ""),
            ("Freight is free from", "" if free is None else show_money(free, currency)),
        ]

    def offers(self) -> Any:
        """Return the table of what it offers; what is closed is left out."""
        rows = queries.offers_for(self.request.user).filter(source=self.source, closed_on=None)
        return house_table(
            self.request,
            OfferTable,
            rows,
            prefix="offers-",
            nothing="No offer of it is known.",
            exclude=["source"],
        )

    def purchases(self) -> Any:
        """Return the table of what was ordered from it, or None where nothing was."""
        rows = queries.purchases_for(self.request.user).filter(source=self.source)
        found = house_table(
            self.request,
            PurchaseTable,
            rows,
            prefix="purchases-",
            exclude=["source"],
            caption=masses_in_words(self.studio.units),
        )
        return found if len(found.rows) else None

    def _has_offers(self) -> bool:
        """Tell whether there is something to order from it."""
        return queries.offers_open().filter(source=self.source).exists()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add facts and lots."""
        user = self.request.user
        lots = queries.lots_for(user).filter(source=self.source).order_by("-received_on", "-pk")
        return super().get_context_data(
            source=self.source,
            facts=self.facts(),
            terms=self.terms(),
            offers=self.offers() if self.source.kind == Source.Kind.SUPPLIER else None,
            lots=house_table(
                self.request,
                LotTable,
                lots,
                prefix="lots-",
                nothing="No lot has come from it yet.",
                exclude=["source"],
            ),
            purchases=self.purchases(),
            may_change=roles.can(user, "sources.change"),
            may_order=roles.can(user, "purchases.change") and self._has_offers(),
            may_receive=roles.can(user, "store.receive"),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what came from it, and what an order to it takes."""
        return explained.of_source(self.reader, self.source, first_of(shown["offers"]))


def season_in_words(source: Source) -> str:
    """Word the months in which a source takes orders."""
    first, last = source.season_from, source.season_to
    if first is None or last is None:
        return "All year"
    return str(MONTHS[first]) if first == last else f"{MONTHS[first]} to {MONTHS[last]}"


@needs("sources.change")
class SourceChange(RowPage):
    """Enter a source, or change one."""

    model = Source
    form_class = SourceForm
    template_name = "fibres/source_form.html"
    back = ("Sources", "sources")
    has_page = True
    noun = "source"
    lede = "A donor is named to visitors only where you tick it. Ask first."
    button = "Keep the source"

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the terms as they are kept."""
        return explained.terms(self.reader, None if self.is_new else self.row)


@needs("sources.change")
class SourceClose(ClosePage):
    """Remove or close a source."""

    model = Source
    noun = "source"
    list_route = "sources"
