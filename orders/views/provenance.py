"""Pages of lots and sources that know what was made of them, and the list of thanks to give."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db import OperationalError
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.generic import TemplateView

from fibres.models import Lot, Source
from fibres.views.lots import LotPage
from fibres.views.sources import SourcePage
from orders import provenancewording as words
from orders import thanking
from orders.models import Making
from orders.thanking import THANK_WITHIN_DAYS, Gift
from orders.views import provenancepanels as panels
from orders.views.shapes import today
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.forms import HouseForm
from studio.pages import HousePage
from studio.roles import needs
from studio.tables import LedgerTable
from studio.templatetags.studio import day as day_words
from studio.units import show_mass


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


@needs("read")
class TracedSource(SourcePage):
    """A source, with what became of all that came from it."""

    template_name = "orders/source.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the makings that its lots went into."""
        if self.source.lots_given:
            lots = Lot.objects.filter(source=self.source.pk)
            kwargs |= panels.became(self.request, lots)
        return super().get_context_data(**kwargs)


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
        source = get_object_or_404(Source, pk=int(pk) if pk.isascii() and pk.isdigit() else 0)
        try:
            thanking.thank(
                source, on=today(), by=request.user, key=form.cleaned_data["request_key"]
            )
        except AlreadyEnteredError:
            messages.info(request, "This was entered already. Nothing was written twice.")
        except StudioError as refusal:
            messages.error(request, f"Not noted: {refusal}")
        except OperationalError:
            messages.error(request, "Not noted: the database is busy. Try again in a moment.")
        else:
            messages.success(request, f"{source.name} was thanked today.")
        return redirect("thanks")


def _lede(count: int) -> str:
    if not count:
        return f"Nobody has waited for thanks for more than {THANK_WITHIN_DAYS} days."
    who = "One donor waits" if count == 1 else f"{count} donors wait"
    return f"{who} for thanks. Say what became of the gift; then note here that it is done."
