"""What a copy is proved by: the app that knows the ledger says so, and this one asks it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Proof:
    """What the ledger of one database came to: what was looked at, and what is wrong in it."""

    said: str = ""
    faults: tuple[str, ...] = ()
    # What stands for all movements up to the last, to be held against the ledger later.
    seal: str = ""


# Called with the name of a connection to the copy.
Prove = Callable[[str], Proof]


def some_of(faults: tuple[str, ...], *, most: int = 3) -> str:
    """Word the first faults, and how many more there are."""
    more = len(faults) - most
    return "; ".join(faults[:most]) + (f"; and {more} more" if more > 0 else "")
