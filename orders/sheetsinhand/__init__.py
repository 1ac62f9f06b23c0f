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
    refuse_fewer_than_sent,
    sendable,
    spoilt,
)
from orders.sheetsinhand.rows import too_few_words, unfinished_words
from orders.sheetsinhand.sending import ParcelNote, Sending, send
from orders.sheetsinhand.takingback import kept_spoilt_words, take_back, take_back_spoilt
from orders.sheetsinhand.weighing import doubt, parcel_of

__all__ = [
    "Kept",
    "ParcelNote",
    "Sending",
    "all_made",
    "balances",
    "count",
    "deliveries",
    "doubt",
    "in_hand",
    "kept",
    "kept_spoilt_words",
    "lines_of",
    "made_for",
    "parcel_of",
    "refuse_fewer_than_sent",
    "send",
    "sendable",
    "spoil",
    "spoilt",
    "take_back",
    "take_back_spoilt",
    "too_few_words",
    "unfinished_words",
]
