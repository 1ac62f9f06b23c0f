"""The list of clients."""

from __future__ import annotations

from fibres.exchange.named import NamedList
from orders.models import Client
from studio.files.columns import Column


class ClientList(NamedList):
    """Clients by name."""

    slug, title, noun, nouns = "clients", "Clients", "client", "clients"
    lede = "For whom commissions are made."
    act = "take in clients"
    route = "clients"
    model = Client
    columns = (
        Column("name", "name", "As it stands on a commission.", "Bramble Letterpress",
               "the name of a client", needed=True),
        Column("contact", "text", "Whom to ask, and how.", "Ask for the binder", longest=200),
        Column("remarks", "text", longest=2000),
        Column("closed", "day", "The day from which it is not offered any more."),
    )  # fmt: skip
    attributes = {"contact": "contact", "remarks": "remarks", "closed": "closed_on"}
    rules = (
        "A client who is there already is known by the name. What a cell says replaces what is "
        "there; an empty cell leaves it.",
    )
