"""Finished sheets: how many lie there, what is done to them, and which promises they keep.

The sheets in hand of a making are the sum of its movements, quality by quality. Whoever takes
sheets locks the making first and then adds up, so that nobody takes the same sheets twice.
"""

from orders.sheetsinhand.counting import count, spoil
from orders.sheetsinhand.holding import (
    Kept,
    all_made,
    balances,
    deliveries,
    in_hand,
    kept,
    lines_of,
    made_for,
    sendable,
)
from orders.sheetsinhand.rows import unfinished_words
from orders.sheetsinhand.sending import ParcelNote, Sending, send
from orders.sheetsinhand.takingback import take_back

__all__ = [
    "Kept",
    "ParcelNote",
    "Sending",
    "all_made",
    "balances",
    "count",
    "deliveries",
    "in_hand",
    "kept",
    "lines_of",
    "made_for",
    "send",
    "sendable",
    "spoil",
    "take_back",
    "unfinished_words",
]
