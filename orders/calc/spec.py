"""A sheet with its losses: the one specification that reckoning and planning take."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cached_property

from orders.calc import culls
from orders.calc._shared import checked_share
from orders.calc.layout import Layout, best_cut
from orders.calc.moulds import Shrinkage, dry_size
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import show_length, show_share, show_size

# Milligrams in a gram over square micrometres in a square metre.
MG_PER_GRAM_UM2_PER_M2 = Fraction(1000, 10**12)


@dataclass(frozen=True)
class SheetSpec:
    """A sheet with its losses, as both directions of the reckoning and the planning take it.

    Lengths are whole micrometres, shares 0 to 1. Without ``mould`` the sheet is as pulled: one
    to a pull, its deckle edges kept. With a mould the finished sheets are cut from the dry pull
    and ``shrinkage`` and ``trim_um`` count. ``learned`` are Beta parameters (a, b) of the good
    share and take the place of ``broke`` and ``retree``.
    """

    size: Size
    grammage: Decimal
    sheet_moisture: Decimal = Decimal("0.06")
    non_fibre_share: Decimal = Decimal(0)
    retention: Decimal = Decimal("0.96")
    broke: Decimal = Decimal("0.08")
    retree: Decimal = Decimal("0.04")
    assurance: Decimal = Decimal("0.95")
    mould: Size | None = None
    shrinkage: Shrinkage = (Decimal(0), Decimal(0))
    trim_um: int = 0
    learned: culls.Learned | None = None

    def __post_init__(self) -> None:
        if not (Decimal(self.grammage).is_finite() and self.grammage > 0):
            raise RangeError(
                f"Grammage must be more than 0 g/m², got {self.grammage}.", value=self.grammage
            )
        checked_share("Sheet moisture", self.sheet_moisture, one=False)
        checked_share("The non-fibre share", self.non_fibre_share, one=False)
        checked_share("Retention", self.retention, zero=False)
        checked_share("Broke", self.broke)
        checked_share("Retree", self.retree)
        checked_share("Assurance", self.assurance, zero=False, one=False)
        if self.broke + self.retree > 1:
            raise RangeError(
                "Broke and retree together must be at most 100 %, got "
                f"{show_share(self.broke)} and {show_share(self.retree)}.",
                field="broke",
                value=self.broke + self.retree,
            )
        # Refused here too, so that a specification that exists can be reckoned with.
        culls.chance_of(0, 0, learned=self.learned)

    @property
    def good_share(self) -> Fraction:
        """Return the share of finished sheets that are good, on average."""
        if self.learned is None:
            return 1 - Fraction(self.broke) - Fraction(self.retree)
        a, b = (Fraction(parameter) for parameter in self.learned)
        return a / (a + b)

    @cached_property
    def pull(self) -> Size:
        """Return the size of the dry pull."""
        return dry_size(self.mould, shrinkage=self.shrinkage) if self.mould else self.size

    @cached_property
    def layout(self) -> Layout | None:
        """Return how the finished sheets lie in the pull, or None for a sheet as pulled."""
        if self.mould is None:
            return None
        return best_cut(self.pull, piece=self.size, trim_um=self.trim_um)

    @property
    def fibre_per_sheet_mg(self) -> Fraction:
        """Return the fibre in one finished sheet, exactly."""
        return self._fibre_mg(self.size)

    @property
    def fibre_per_pull_mg(self) -> Fraction:
        """Return the fibre in one dry pull, exactly."""
        return self._fibre_mg(self.pull)

    @property
    def drawn_per_pull_mg(self) -> Fraction:
        """Return the usable fibre that one pull takes out of the store, exactly."""
        return self.fibre_per_pull_mg / Fraction(self.retention)

    def _fibre_mg(self, size: Size) -> Fraction:
        dry, fibre = 1 - Fraction(self.sheet_moisture), 1 - Fraction(self.non_fibre_share)
        return Fraction(self.grammage) * size.area_um2 * MG_PER_GRAM_UM2_PER_M2 * dry * fibre

    def at_least_one_per_pull(self) -> int:
        """Return the finished sheets per pull, or refuse a sheet that its mould cannot give."""
        pieces = 1 if self.layout is None else self.layout.pieces
        if pieces == 0:
            raise RangeError(
                f"Not one sheet of {show_size(self.size)} fits in the dry pull of "
                f"{show_size(self.pull)} once {show_length(self.trim_um)} is cut off each side. "
                "Take a larger mould or trim less.",
                field="mould",
                value=self.mould,
            )
        return pieces
