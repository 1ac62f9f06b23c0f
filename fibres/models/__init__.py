"""Fibres, where they come from and what is offered and ordered there, lots and movements."""

from fibres.models.fibres import Fibre
from fibres.models.furnishes import Addition, Drying, Furnish, FurnishPart, Shrinkage
from fibres.models.lots import Lot, MoistureTest, Movement
from fibres.models.purchases import Arrival, Purchase, PurchaseLine
from fibres.models.seals import Seal
from fibres.models.sources import Offer, OfferBreak, Source
from fibres.models.stocktakes import CountLine, Stocktake

__all__ = [
    "Addition",
    "Arrival",
    "CountLine",
    "Drying",
    "Fibre",
    "Furnish",
    "FurnishPart",
    "Lot",
    "MoistureTest",
    "Movement",
    "Offer",
    "OfferBreak",
    "Purchase",
    "PurchaseLine",
    "Seal",
    "Shrinkage",
    "Source",
    "Stocktake",
]
