"""Fibres, where they come from, the lots in store, and every movement of them."""

from fibres.models.fibres import Fibre
from fibres.models.furnishes import Addition, Drying, Furnish, FurnishPart, Shrinkage
from fibres.models.lots import Lot, MoistureTest, Movement
from fibres.models.sources import Source

__all__ = [
    "Addition",
    "Drying",
    "Fibre",
    "Furnish",
    "FurnishPart",
    "Lot",
    "MoistureTest",
    "Movement",
    "Shrinkage",
    "Source",
]
