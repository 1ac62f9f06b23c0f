"""An order before it is placed: plan it from what a source offers, and change the plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from functools import cached_property
from hashlib import sha256
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.template.response import TemplateResponse
from django.urls import reverse
from django.utils import timezone

from fibres import purchasing, queries
from fibres.calc import moisture as wet
from fibres.calc.pricing import paid_per_kg
from fibres.explained import buying as explained
from fibres.forms.purchases import PlanForm
from fibres.models import Offer, Purchase, PurchaseLine, Source
from fibres.purchasing import Wanted
from fibres.tables.purchases import SourceToOrderTable
from fibres.views.buying import PurchaseAct
from studio.entries import acting, refuse_repeat
from studio.errors import StudioError
from studio.explaining import Explained, as_sent
from studio.forms import version_of
from studio.lists import house_table
from studio.money import BY_MASS_WORDS, by_mass, show_money
from studio.pages import FormPage
from studio.roles import needs
from studio.units import show_mass
from studio.working import Line

MEANWHILE = (
    "Somebody changed this purchase meanwhile. Open its page again, and enter your change once "
    "more."
)


class PlanPage(FormPage):
    """A form of packs by offer, with what they come to."""

    form_class = PlanForm
    button = "Keep the plan"
    panel = "fibres/_sum_panel.html"
    side_head = "The order"
    note = "Leave the packs of a fibre blank where none is wanted"

    @property
    def source(self) -> Source:
        """Whom it is ordered from."""
        raise NotImplementedError

    def offers(self) -> list[Offer]:
        """Return the offers that are shown."""
        return list(queries.offers_open().filter(source=self.source))

    def kept(self) -> list[PurchaseLine]:
        """Return lines that no offer stands behind: they stay as they are."""
        return []

    def get_form_kwargs(self) -> dict[str, Any]:
        """Give the form the offers."""
        return {
            **super().get_form_kwargs(),
            "offers": self.offers(),
            "kept_lines": len(self.kept()),
        }

    def wanted(self, form: PlanForm) -> list[Wanted]:
        """Return the lines asked for, at the prices of the day of the order."""
        today = timezone.localdate()
        day = max(today, form.cleaned_data["order_by"] or today)
        lines = [line for wanted in form.wanted for line in self.at_offer(*wanted, day)]
        return [*lines, *map(_as_it_stands, self.kept())]

    def at_offer(self, offer: Offer, packs: int, day: date) -> list[Wanted]:
        """Return the lines for packs of one offer."""
        return [purchasing.from_offer(offer, packs, on=day)]

    def work_out(self, form: Any) -> dict[str, Any]:
        """Set out goods, freight, and what a kilogram comes to."""
        lines, currency = self.wanted(form), self.studio.currency
        goods = sum(line.goods_minor for line in lines)
        freight = form.cleaned_data["freight"]
        usual = freight is None
        freight = purchasing.freight_of(self.source, goods) if usual else freight
        return {
            "lines": [
                *map(self._line, lines),
                Line("Goods", show_money(goods, currency), kind="line"),
                Line("Freight", show_money(freight, currency), "as usual" if usual else ""),
                Line("In all", show_money(goods + freight, currency), kind="answer"),
                *self._by_mass(lines, goods + freight),
            ],
            "band": self._advice(goods),
        }

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what an order comes to."""
        return explained.planned(self.reader, self.source, as_sent(shown))

    def _by_mass(self, lines: list[Wanted], total: int) -> list[Line]:
        dry_mg = sum(wet.oven_dry_mg(line.packs * line.pack_mg, line.moisture) for line in lines)
        found = [Line("Oven-dry fibre", show_mass(dry_mg, system=self.studio.units))]
        per_kg = paid_per_kg(total, dry_mg)
        if per_kg is not None:
            minor, unit = by_mass(per_kg, self.studio.units)
            price = show_money(minor, self.studio.currency)
            word = f"A {BY_MASS_WORDS[unit]} oven-dry costs"
            found.append(Line(word, price, "with freight"))
        return found

    def _line(self, line: Wanted) -> Line:
        packs = "1 pack" if line.packs == 1 else f"{line.packs} packs"
        mass = show_mass(line.packs * line.pack_mg, system=self.studio.units)
        price = show_money(line.goods_minor, self.studio.currency)
        return Line(line.fibre.name, price, f"{packs}, {mass} as sold")

    def _advice(self, goods: int) -> str:
        """Say what the source asks of an order that this one does not meet."""
        source, currency = self.source, self.studio.currency
        lack = source.order_minimum_minor - goods
        if lack <= 0:
            return ""
        least = show_money(source.order_minimum_minor, currency)
        return (
            f"{source} takes orders of {least} or more: {show_money(lack, currency)} is missing."
        )


@needs("purchases.change")
class PurchaseNew(PlanPage):
    """Plan an order: choose the source, then packs of what it offers."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Let the source be chosen first."""
        is_taken = str(request.method).lower() in self.http_method_names
        if self._chosen is None and is_taken:
            return self.ask_source()
        return super().dispatch(request, *args, **kwargs)

    @cached_property
    def _chosen(self) -> Source | None:
        asked = self.request.GET.get("source", "")
        if not (asked.isascii() and asked.isdigit() and len(asked) < 10):
            return None
        return queries.sources_with_offers().filter(pk=asked).first()

    @property
    def source(self) -> Source:
        """The source that was chosen."""
        assert self._chosen is not None
        return self._chosen

    def ask_source(self) -> HttpResponse:
        """Show the sources that something can be ordered from."""
        context = {
            "heading": "Plan an order",
            "lede": "Choose the source. It shows what it offers and what that costs.",
            "back": ("Purchases", reverse("purchases")),
            "sources": house_table(
                self.request, SourceToOrderTable, queries.sources_with_offers(), paginate=False
            ),
        }
        return TemplateResponse(self.request, "fibres/purchase_source.html", context)

    def get_heading(self) -> str:
        """Name the source."""
        return f"Plan an order to {self.source}"

    def get_lede(self) -> str:
        """Say how long it takes."""
        days = self.source.lead_days
        word = "1 day" if days == 1 else f"{days} days"
        return f"It comes {word} after the order. Nothing is ordered by keeping the plan."

    def get_back(self) -> tuple[str, str]:
        """Lead back to the choice of a source."""
        return ("Another source", self.request.path)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Have the panel asked of this address, which names the source."""
        preview = self.request.get_full_path()
        return {**super().get_context_data(**kwargs), "preview": preview}

    def act(self, form: Any, key: Any) -> Purchase:
        """Keep the plan."""
        given = form.cleaned_data
        return purchasing.plan(
            self.source,
            self.wanted(form),
            order_by=given["order_by"],
            freight_minor=given["freight"],
            remarks=given["remarks"],
            by=self.request.user,
            key=key,
        )

    def said(self, result: Purchase) -> str:
        """Say that it is kept and what is next."""
        return f"{result.ref} is planned. Mark it as ordered once it is."


@needs("purchases.change")
class PurchaseEdit(PurchaseAct, PlanPage):
    """Change an order that is planned."""

    states = (Purchase.State.PLANNED,)
    lede = "Prices are reckoned afresh from the offers that are open."

    @property
    def source(self) -> Source:
        """The source of the purchase."""
        return self.purchase.source

    def get_heading(self) -> str:
        """Name the purchase."""
        return f"Change {self.purchase.ref}"

    def offers(self) -> list[Offer]:
        """Return what is offered now, and what the lines were made of though it has ended."""
        open_offers = super().offers()
        shown = {offer.pk for offer in open_offers}
        made_of = {line.offer_id for line in self.purchase.lines.all()} - shown - {None}
        ended = Offer.objects.filter(pk__in=made_of).select_related("fibre", "source")
        return [*open_offers, *ended.prefetch_related("breaks")]

    def kept(self) -> list[PurchaseLine]:
        """Return the lines that were planned without an offer."""
        return [line for line in self.purchase.lines.all() if line.offer_id is None]

    def at_offer(self, offer: Offer, packs: int, day: date) -> list[Wanted]:
        """Leave what is planned of a closed offer as it is: such an offer has no price of today.

        Another number of packs of it is refused.
        """
        planned = [line for line in self.purchase.lines.all() if line.offer_id == offer.pk]
        if offer.is_closed and packs == sum(line.packs for line in planned):
            return [_as_it_stands(line, offer) for line in planned]
        return super().at_offer(offer, packs, day)

    def get_initial(self) -> dict[str, Any]:
        """Start from what is planned."""
        purchase = self.purchase
        packs: dict[str, int] = {}
        for line in purchase.lines.all():
            name = f"offer_{line.offer_id}"
            packs[name] = packs.get(name, 0) + line.packs
        goods = sum(line.goods_minor for line in purchase.lines.all())
        usual = purchasing.freight_of(purchase.source, goods)
        return {
            **packs,
            "order_by": purchase.order_by,
            "freight": None if purchase.freight_minor == usual else purchase.freight_minor,
            "remarks": purchase.remarks,
            "version": _version(purchase),
        }

    def act(self, form: Any, key: Any) -> Purchase:
        """Change it, if it is as the page showed it."""
        given = form.cleaned_data
        with acting():
            refuse_repeat(key)
            now = Purchase.objects.select_for_update().get(pk=self.purchase.pk)
            if given["version"] != _version(now):
                raise StudioError(MEANWHILE)
            return purchasing.change(
                now,
                self.wanted(form),
                order_by=given["order_by"],
                freight_minor=given["freight"],
                remarks=given["remarks"],
                by=self.request.user,
                key=key,
            )


def _version(purchase: Purchase) -> str:
    """Return a mark that changes with the purchase or any line of it."""
    marks = [version_of(row) for row in (purchase, *purchase.lines.all())]
    return sha256("".join(marks).encode()).hexdigest()[:32]


def _as_it_stands(line: PurchaseLine, offer: Offer | None = None) -> Wanted:
    """Return a line of a plan unchanged."""
    return Wanted(
        fibre=line.fibre,
        packs=line.packs,
        pack_mg=line.pack_mg,
        moisture=line.moisture,
        goods_minor=line.goods_minor,
        price_per=line.price_per,
        form=line.form,
        offer=offer,
    )
