"""How a copy of the database is proved: by the audit of the store and of what was made of it."""

from __future__ import annotations

from orders.audit import audit
from studio.copies.proof import Proof


def prove(using: str) -> Proof:
    """Look at every balance of one database, and say what was looked at."""
    found = audit(using)
    lots = "1 lot" if found.lots == 1 else f"{found.lots:,} lots"
    moves = "1 movement" if found.movements == 1 else f"{found.movements:,} movements"
    return Proof(
        said=f"{lots}, {moves}",
        faults=tuple(map(str, found.faults)),
        seal=found.seal,
    )
