"""Pages of lots and sources that know what was made of them, and the list of thanks to give."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db import OperationalError
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from fibres.models import Lot, Source
from fibres.views.lots import LotPage
from fibres.views.sources import SourcePage
from orders import provenance, thanking
from orders import provenancewording as words
from orders.explained import origin as explained
from orders.models import Making
from orders.thanking import THANK_WITHIN_DAYS, Gift
from orders.views import provenancepanels as panels
from orders.views.makings import OneMaking
from orders.views.shapes import today
from studio import outages, roles
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.explaining import Explained
from studio.forms import HouseForm
from studio.pages import HousePage
from studio.roles import needs
from studio.tables import LedgerTable
from studio.templatetags.studio import day as day_words
from studio.units import show_grammage, show_mass, show_size


@needs("read")
class TracedLot(LotPage):
    """A lot, with what became of it; of broke or a heel also what it is made of."""

    template_name = "orders/lot.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the makings that it went into, and the one that it came of."""
        kept = Q(broke_lot=self.lot.pk) | Q(heel_lot=self.lot.pk)
        came_of = Making.objects.filter(kept).first()
        return super().get_context_data(
            came_of=came_of,
            **panels.became(self.request, Lot.objects.filter(pk=self.lot.pk)),
            **panels.from_where(self.request, [came_of] if came_of else []),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Add how its share of a making is counted, where it went into one."""
        more = [explained.share_of_a_lot()] if len(shown["became"].rows) else []
        return (*super().explain(shown), *more)


@needs("read")
class TracedSource(SourcePage):
    """A source, with what became of all that came from it."""

    template_name = "orders/source.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the makings that its lots went into."""
        if self.source.lots_given:
            lots = Lot.objects.filter(source=self.source.pk)
            kwargs |= panels.became(self.request, lots)
        source, user = self.source, self.request.user
        thanks = source.kind == Source.Kind.DONOR and roles.can(user, "store.receive")
        may_thank = thanks and bool(source.lots_given)
        return super().get_context_data(
            may_thank=may_thank,
            is_waiting=may_thank and thanking.is_waiting(source, today()),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Add how its share of a making is counted, where it went into one."""
        became = shown.get("became")
        more = [explained.share_of_a_lot()] if became is not None and len(became.rows) else []
        return (*super().explain(shown), *more)


# --- cards --------------------------------------------------------------------------------------


# How many letters a card may have that so many of them fit a page of A4 or letter paper.
FITTING = ((8, 280), (4, 1000))
# Digits of a key that every database can be asked for.
LONGEST_KEY = 18


def cards_on_a_page(name: str, *told: str) -> int:
    """Return how many cards fit one page; the name is set three times as large as the rest."""
    letters = 3 * len(name) + sum(map(len, told))
    return next((count for count, most in FITTING if letters <= most), 1)


@needs("read")
class MakingCard(OneMaking, TemplateView):
    """Cards that go out with the sheets of a making: one page to print and cut apart."""

    template_name = "orders/making_card.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the cards of a making that is finished and whose fibre is known."""
        self.found = provenance.origins([self.making], request.user)
        if self.making.is_open or not self.found:
            said = f"{self.making.ref} has no card: it is for finished sheets of known fibre."
            messages.info(request, said)
            return redirect(self.making)
        return super().get(request, *args, **kwargs)

    def get_back(self) -> tuple[str, str]:
        """Lead back to the making."""
        return (f"Making {self.making.ref}", self.making.get_absolute_url())

    def get_heading(self) -> str:
        """Name the making."""
        return f"Card of {self.making.ref}"

    def get_lede(self) -> str:
        """Say what it is for."""
        return "It goes out with the sheets, and names only donors who agreed to be named."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the words of the card, as often as it fits a page."""
        (origin,), system = self.found, self.studio.units
        sheet = self.making.sheet
        told, lasts = words.card(origin, system), origin.permanence
        return super().get_context_data(
            making=self.making,
            told=told,
            lasts=lasts,
            size=f"{show_size(sheet.size, system=system)}, {show_grammage(sheet.grammage)}",
            cards=range(cards_on_a_page(sheet.name, told, lasts)),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the fibre of the card is told, and how many cards there are room for."""
        (origin,) = self.found
        told = explained.on_a_card(origin.drawn, self.studio.units)
        return [told, explained.cards(len(shown["cards"]))]


@needs("store.receive")
class SourceCard(HousePage, TemplateView):
    """A card of thanks for one donor: what was given, and what became of it."""

    template_name = "orders/source_card.html"

    @cached_property
    def source(self) -> Source:
        """Return the source."""
        return get_object_or_404(Source, pk=self.kwargs["pk"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the card of a donor who gave something."""
        self.gift = thanking.gift_of(self.source, request.user)
        if self.gift is None:
            messages.info(request, f"{self.source.name} has given nothing to thank for.")
            return redirect(self.source)
        return super().get(request, *args, **kwargs)

    def get_back(self) -> tuple[str, str]:
        """Lead back to the donor."""
        return (self.source.name, self.source.get_absolute_url())

    def get_heading(self) -> str:
        """Say whom it thanks."""
        return f"Thanks to {self.source.name}"

    def get_lede(self) -> str:
        """Say what to do with it."""
        return "Print it, write a line by hand, and send it. Then note that they were thanked."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what was given, and what became of it."""
        gift, system = self.gift, self.studio.units
        assert gift is not None
        return super().get_context_data(
            source=self.source,
            gave=words.gift_in_words(gift.lots, system),
            when=words.days_in_words(gift.lots),
            has_become=any(one.sheets for one in gift.became),
            became=words.became_in_words(gift.became, today(), system),
            today=today(),
            key=uuid.uuid4(),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the gift and what it became are counted."""
        return [explained.given_as_it_came(shown["gave"]), explained.share_of_a_lot()]


# --- thanks -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Waiting:
    """A donor who waits for thanks, ready to be shown."""

    source: Source
    gave: str
    since: str
    said: str
    is_named: bool
    table: LedgerTable | None
    key: uuid.UUID


@needs("store.receive")
class Thanks(HousePage, TemplateView):
    """Gifts that have waited for thanks for more than two weeks, with what became of them."""

    template_name = "orders/thanks.html"
    heading = "Thanks to give"
    back = ("Sources", "sources")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Read who waits, and what became of what they gave."""
        gifts = thanking.gifts_to_thank_for(today(), self.request.user)
        return super().get_context_data(
            waiting=[self._waiting(gift) for gift in gifts],
            lede=_lede(len(gifts)),
            days=THANK_WITHIN_DAYS,
            **kwargs,
        )

    def _waiting(self, gift: Gift) -> Waiting:
        system = self.studio.units
        lots = "1 lot" if len(gift.lots) == 1 else f"{len(gift.lots)} lots"
        return Waiting(
            source=gift.source,
            gave=f"{show_mass(gift.oven_dry_mg, system=system)} oven-dry in {lots}",
            since=day_words(gift.first_on),
            said=words.became_in_words(gift.became, today(), system),
            is_named=gift.source.may_be_named,
            table=panels.made_table(self.request, gift.became, prefix=f"became-{gift.source.pk}-")
            if gift.became
            else None,
            key=uuid.uuid4(),
        )

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Note that a donor was thanked today, and go back to the list."""
        form = HouseForm(request.POST)
        if not form.is_valid():
            messages.error(request, "Not noted: the page was sent without its key. Try again.")
            return redirect("thanks")
        pk = request.POST.get("source", "")
        is_key = pk.isascii() and pk.isdigit() and len(pk) <= LONGEST_KEY
        source = get_object_or_404(Source, pk=int(pk) if is_key else 0)
        try:
            thanking.thank(
                source, on=today(), by=request.user, key=form.cleaned_data["request_key"]
            )
        except AlreadyEnteredError:
            messages.info(request, "This was entered already. Nothing was written twice.")
        except StudioError as refusal:
            messages.error(request, f"Not noted: {refusal}")
        except OperationalError as fault:
            busy = "Not noted: the database is busy. Try again in a moment."
            messages.error(request, outages.sentence(fault, busy))
        else:
            messages.success(request, f"{source.name} was thanked today.")
        return redirect("thanks")

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say who waits, and what their gift came to."""
        waiting = shown["waiting"]
        said = [explained.waiting(len(waiting), THANK_WITHIN_DAYS)]
        first = (waiting[0].source.name, waiting[0].gave) if waiting else ("", "")
        return [*said, explained.given(*first), explained.share_of_a_lot()]


def _lede(count: int) -> str:
    if not count:
        return f"Nobody has waited for thanks for more than {THANK_WITHIN_DAYS} days."
    who = "One donor waits" if count == 1 else f"{count} donors wait"
    return f"{who} for thanks. Say what became of the gift; then note here that it is done."
