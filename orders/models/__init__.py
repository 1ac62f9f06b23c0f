"""Clients, sheets, commissions that promise them, quotes, makings, and sheets in hand."""

from orders.models.commissions import Client, Commission, Sheet
from orders.models.makings import (
    Dose,
    Dryer,
    Fault,
    Issue,
    Making,
    Post,
    Spell,
    TrialSheet,
)
from orders.models.plans import StoredPlan
from orders.models.quotes import Quote, QuoteDocument
from orders.models.sheets import AcceptedFigure, Delivery, SheetMovement

__all__ = [
    "AcceptedFigure",
    "Client",
    "Commission",
    "Delivery",
    "Dose",
    "Dryer",
    "Fault",
    "Issue",
    "Making",
    "Post",
    "Quote",
    "QuoteDocument",
    "Sheet",
    "SheetMovement",
    "Spell",
    "StoredPlan",
    "TrialSheet",
]
