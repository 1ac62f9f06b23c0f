"""Figures learned from finished makings: shown with their limits, and taken over by the owner.

Nothing here changes a figure by itself. Mass alone shows preparation yield times retention, so
each of the two is learned with the other held to be right.
"""

from orders.learning.figures import LearnedFigure, Page, learn
from orders.learning.origins import Book, origin_of, origins_of, sheet_origins
from orders.learning.taking import accept

__all__ = [
    "Book",
    "LearnedFigure",
    "Page",
    "accept",
    "learn",
    "origin_of",
    "origins_of",
    "sheet_origins",
]
