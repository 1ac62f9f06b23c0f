"""All that the search box finds, in the order of its page; the store's nouns come from fibres."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.urls import reverse

from fibres import searching as store
from fibres.searching import closed_mark, words_fields
from orders import queries
from orders.filters import ClientFilter, CommissionFilter, DeliveryFilter, SheetFilter
from orders.makingforms import MakingFilter
from orders.models import Commission, Delivery, Making, Quote, Sheet
from orders.quoteforms import QuoteFilter
from studio import roles
from studio.search import Noun, Shown

Row = Mapping[str, Any]
# Hands read who a client is, not how to reach them.
KNOWN_TO_HANDS = ("name",)


def _client_fields(user: Any) -> tuple[str, ...]:
    sees = roles.can(user, "clients.contact")
    return words_fields(ClientFilter)(user) if sees else KNOWN_TO_HANDS


def _client(row: Row) -> Shown:
    return Shown(
        address=reverse("client", args=[row["pk"]]),
        name=row["name"],
        hidden=(row["contact_known"], row["remarks_known"]),
        mark=closed_mark(row),
    )


def _commission(row: Row) -> Shown:
    return Shown(
        address=reverse("commission", args=[row["ref"]]),
        ref=row["ref"],
        name=row["title"],
        also=(row["client_name"], row["sheet__name"]),
        mark=Commission(state=row["state"]).state_mark,
    )


def _making(row: Row) -> Shown:
    return Shown(
        address=reverse("making", args=[row["ref"]]),
        ref=row["ref"],
        name=row["sheet__name"],
        also=(row["for_words"],),
        hidden=(row["remarks"],),
        mark=Making(state=row["state"]).state_mark,
    )


def _quote(row: Row) -> Shown:
    return Shown(
        address=reverse("quote", args=[row["ref"]]),
        ref=row["ref"],
        name=row["title"],
        also=(row["client__name"], row["sheet__name"]),
        hidden=(row["commission__ref"] or "",),
        mark=Quote(state=row["state"], valid_until=row["valid_until"]).state_mark,
    )


def _sheet(row: Row) -> Shown:
    return Shown(
        address=reverse("sheet", args=[row["pk"]]),
        name=row["name"],
        also=(row["furnish__name"], row["mould__name"] or ""),
        mark=closed_mark(row),
    )


def _delivery(row: Row) -> Shown:
    return Shown(
        address=reverse("delivery", args=[row["ref"]]),
        ref=row["ref"],
        name=row["commission__title"] or "",
        also=(row["commission__ref"] or "",),
    )


CLIENTS = Noun(
    one="client",
    many="clients",
    route="clients",
    need="clients.see",
    rows=queries.clients_named,
    fields=_client_fields,
    columns=("name", "pk", "contact_known", "remarks_known", "closed_on"),
    shown=_client,
)
COMMISSIONS = Noun(
    one="commission",
    many="commissions",
    route="commissions",
    need="read",
    rows=lambda user: queries.commissions_for(user).order_by("-due", "ref"),
    fields=words_fields(CommissionFilter),
    columns=("ref", "title", "client_name", "sheet__name", "state"),
    shown=_commission,
)
MAKINGS = Noun(
    one="making",
    many="makings",
    route="makings",
    need="read",
    rows=lambda user: Making.objects.annotate(for_words=queries.made_for()),
    fields=words_fields(MakingFilter),
    columns=("ref", "sheet__name", "for_words", "remarks", "state"),
    shown=_making,
)
QUOTES = Noun(
    one="quote",
    many="quotes",
    route="quotes",
    need="money",
    rows=lambda user: Quote.objects.order_by("-pk"),
    fields=words_fields(QuoteFilter),
    columns=(
        "ref", "title", "client__name", "sheet__name", "commission__ref", "state", "valid_until",
    ),
    shown=_quote,
)  # fmt: skip
SHEETS = Noun(
    one="sheet",
    many="sheets",
    route="sheets",
    need="read",
    rows=lambda user: Sheet.objects.order_by("name"),
    fields=words_fields(SheetFilter),
    columns=("name", "pk", "furnish__name", "mould__name", "closed_on"),
    shown=_sheet,
)
PARCELS = Noun(
    one="parcel",
    many="parcels",
    route="deliveries",
    need="read",
    rows=lambda user: Delivery.objects.order_by("-sent_on", "-pk"),
    fields=words_fields(DeliveryFilter),
    columns=("ref", "commission__ref", "commission__title"),
    shown=_delivery,
)

NOUNS = (
    store.LOTS, store.SOURCES, CLIENTS, COMMISSIONS, MAKINGS, QUOTES, store.PURCHASES, SHEETS,
    store.FIBRES, store.FURNISHES, PARCELS,
)  # fmt: skip
