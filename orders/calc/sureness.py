"""How sure it is that the store covers a promise: moisture, yield and culls all vary."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class HeldLine:
    """What a commission can count on for one line of its furnish.

    ``share`` is the part this line has in its fibre, ``pieces`` the usable milligrams of every
    lot held for it or free to it, each with the spread of that lot; ``yield_spread`` is common
    to all of them.
    """

    share: Decimal
    pieces: tuple[tuple[int, Decimal], ...]
    yield_spread: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Sureness:
    """All that the chance of cover is worked out from."""

    wanted: int
    pull_mg: int
    sheets_per_pull: int
    good_share: Decimal
    lines: tuple[HeldLine, ...]
