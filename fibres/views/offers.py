"""Offers: the list, the form of one with its price breaks, and those of one fibre compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone
from django.views.generic import TemplateView

from fibres import offering, queries
from fibres.calc.offers import Offering
from fibres.calc.offerwords import bill_lines, pack_lines, why_they_differ
from fibres.explained import buying as explained
from fibres.filters import OfferFilter
from fibres.forms.offers import BreakFormSet, CompareForm, OfferForm
from fibres.models import Offer
from fibres.tables.offers import ComparedRow, CompareTable, OfferTable
from studio import exports, roles
from studio.errors import RangeError
from studio.explaining import Explained, first_of
from studio.lists import ListPage, house_table
from studio.money import show_by_mass, show_money
from studio.pages import ClosePage, HousePage, RowPage
from studio.roles import needs
from studio.units import show_mass


@needs("read")
class OfferList(ListPage):
    """Every offer: of which fibre, by whom, in which packs, and at what price for who sees it."""

    template_name = "fibres/offer_list.html"
    table_class = OfferTable
    filterset_class = OfferFilter
    heading = "Offers"
    lede = "What fibre can be bought, by the pack. A price counts once its water is out of it."
    note = "A price for a kilogram oven-dry leaves out the water"
    back = ("Sources", "sources")
    export_name = "offers"

    def get_queryset(self) -> Any:
        """Return offers, without prices for who may not see them."""
        return queries.offers_for(self.request.user)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the first offer."""
        return explained.offer_list(self.reader, first_of(shown["table"]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether an offer can be entered."""
        may_change = roles.can(self.request.user, "sources.change")
        return super().get_context_data(may_change=may_change, **kwargs)


@needs("sources.change")
class OfferChange(RowPage):
    """Enter an offer, or change one, with its price breaks."""

    model = Offer
    form_class = OfferForm
    template_name = "fibres/offer_form.html"
    back = ("Offers", "offers")
    noun = "offer"
    lede = "As the source's list has it. The sum takes the water out of the price."
    button = "Keep the offer"
    side_head = "The offer"
    panel = "fibres/_sum_panel.html"
    panel_title = "What a pack comes to"
    close_route = "offer_close"
    parts_classes = (("breaks", BreakFormSet),)

    def get_initial(self) -> dict[str, Any]:
        """Take fibre and source from the page that leads here."""
        asked = self.request.GET if self.is_new else {}
        return {name: asked[name] for name in ("fibre", "source") if name in asked}

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        """Judge the breaks by the fewest packs too, with every other fault of the page."""
        if self.asks_panel():
            return self.answer_panel()
        form, breaks = self.get_form(), self.formsets()["breaks"]
        fine = [form.is_valid(), breaks.is_valid()]
        if breaks.is_valid():
            fine.append(breaks.refuse_up_to(form.cleaned_data.get("least_packs")))
        return self.form_valid(form) if all(fine) else self.form_invalid(form)

    def work_out(self, form: Any) -> dict[str, Any]:
        """Set out what a pack holds and costs, with the breaks that can be read."""
        given, breaks = form.cleaned_data, self.formsets()["breaks"]
        steps = breaks.given if breaks.is_valid() else ()
        if len({packs for packs, _ in steps}) < len(steps):
            raise RangeError(breaks.twice)
        return self._sum(
            Offering(
                name=str(given["source"]),
                pack_mg=given["pack_mg"],
                moisture=given["moisture"],
                minor_per_kg=given["minor_per_kg"],
                price_per=given["price_per"],
                breaks=steps,
                breaks_are=given["breaks_are"],
                least_packs=given["least_packs"],
                preparation_yield=given["fibre"].preparation_yield,
            )
        )

    def _sum(self, offer: Offering) -> dict[str, Any]:
        studio = self.studio
        return {"lines": pack_lines(offer, currency=studio.currency, system=studio.units)}

    def after(self, row: Any) -> str:
        """Lead to the source, where its offers stand together."""
        return str(row.source.get_absolute_url())

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the breaks, and what a pack of the offer as it stands comes to."""
        if not self.is_new and self.request.method == "GET":
            kwargs.setdefault("result", self._sum(offering.offered(self.row)))
        return super().get_context_data(parts=self.formsets()["breaks"], **kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the offer as it is kept."""
        return explained.offer_list(self.reader, None if self.is_new else self.row)


@needs("sources.change")
class OfferClose(ClosePage):
    """Remove or close an offer."""

    model = Offer
    noun = "offer"
    list_route = "offers"


@needs("money")
class OfferCompare(HousePage, TemplateView):
    """Offers of one fibre for an amount: three ways to be the cheapest, and why they differ."""

    template_name = "fibres/offer_compare.html"
    heading = "Compare offers"
    back = ("Offers", "offers")

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer the question that the address asks, as a page or as a file."""
        studio = self.studio
        told = {"system": studio.units, "currency": studio.currency}
        asked = request.GET
        form = CompareForm(asked if "want" in asked else None, initial=_initial(asked), **told)
        found = self._compare(form) if form.is_bound and form.is_valid() else None
        kind = asked.get("format")
        is_file = kind in exports.KINDS
        table = self._table(found, is_file=is_file) if found else None
        if table is not None and is_file:
            return exports.export(table, kind, name="offers compared")
        return self.render_to_response(self.get_context_data(form=form, found=found, table=table))

    def _compare(self, form: CompareForm) -> Any:
        given = form.cleaned_data
        return offering.compare_offers(
            given["fibre"],
            given["want"],
            today=timezone.localdate(),
            system=self.studio.units,
        )

    def _table(self, found: Any, *, is_file: bool) -> Any:
        """Set the offers out; who may buy is led on to planning an order from each."""
        leads_on = not is_file and roles.can(self.request.user, "purchases.change")
        rows = queries.sources_with_offers().values_list("name", "pk") if leads_on else ()
        sources = dict(rows)
        return house_table(
            self.request,
            CompareTable,
            [ComparedRow(one, found, sources.get(one.offer.name)) for one in found.bills],
            exclude=() if leads_on else ("plan",),
            paginate=False,
        )

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the winners, the reason and the working of each order."""
        found, studio = kwargs["found"], self.studio
        words = {"currency": studio.currency, "system": studio.units}
        context: dict[str, Any] = {
            "lede": "Least cash, least delivered and least before freight can be three offers."
        }
        if found is not None:
            context |= {
                "lede": self._finding(kwargs["form"], found),
                "why": why_they_differ(found, **words),
                "winners": self._winners(found),
                "workings": [
                    (f"{one.offer.title}: how this comes", bill_lines(one, **words))
                    for one in found.bills
                ],
                "files": self._files(),
            }
        return super().get_context_data(**{**context, **kwargs})

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the first offer of the table."""
        found = shown.get("found")
        return explained.compared(self.reader, found.bills if found else ())

    def _finding(self, form: CompareForm, found: Any) -> str:
        mass = show_mass(found.need_oven_dry_mg, system=self.studio.units)
        fibre = form.cleaned_data["fibre"]
        count = len(found.bills)
        if not count:
            return f"No offer of {fibre} can be ordered. Enter one, or open its source again."
        offers = "One offer covers" if count == 1 else f"{count} offers cover"
        return f"{offers} {mass} oven-dry of {fibre}."

    def _winners(self, found: Any) -> list[tuple[str, str]]:
        if not found.bills:
            return []
        currency, system = self.studio.currency, self.studio.units
        cash, delivered, goods = (
            ComparedRow(one, found)
            for one in (found.least_cash, found.least_delivered, found.least_before_freight)
        )
        usable, unit = show_by_mass(delivered.delivered, currency, system)
        dry, _ = show_by_mass(goods.before_freight, currency, system)
        return [
            ("Cash", f"{show_money(cash.cash_minor, currency)}: {cash.title}"),
            ("Delivered", f"{usable} a usable {unit}: {delivered.title}"),
            ("Before freight", f"{dry} a dry {unit}: {goods.title}"),
        ]

    def _files(self) -> list[tuple[str, str]]:
        query = self.request.GET.copy()
        found = []
        for kind in exports.KINDS:
            query["format"] = kind
            found.append((f"?{query.urlencode()}", f"As {kind.upper()}"))
        return found


def _initial(asked: Any) -> dict[str, Any]:
    return {name: asked[name] for name in ("fibre",) if name in asked}
