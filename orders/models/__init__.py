"""Clients, sheets to make, commissions that promise them, makings, and sheets in hand."""

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
    "Sheet",
    "SheetMovement",
    "Spell",
    "StoredPlan",
    "TrialSheet",
]
