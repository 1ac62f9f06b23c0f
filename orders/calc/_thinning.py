"""A vat that is pulled from and not topped up: exact where a whole number hangs on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Context, Decimal, localcontext
from fractions import Fraction

from orders.calc._consistency import FIGURES, as_decimal

# Nearer to the limit than this the fifty figures don't decide, and whole numbers do.
UNDECIDED = Decimal("1e-35")


@dataclass(frozen=True, slots=True)
class Draining:
    """Each pull takes the fibre of ``taken`` litres, and ``carried`` litres of water with it.

    With F grams in V litres: F becomes F × (1 − taken / V), and V becomes V − carried.
    """

    volume: Fraction
    taken: Fraction
    carried: Fraction

    @property
    def thins(self) -> bool:
        """Whether a pull takes more of the fibre than of the water."""
        return self.taken > self.carried

    @property
    def most(self) -> int | None:
        """Return the pulls before too little is left, or None where the level never falls."""
        spare = self.volume - max(self.taken, self.carried)
        if spare <= 0:
            return 0
        return math.ceil(spare / self.carried) if self.carried else None

    def level(self, pulls: int) -> Fraction:
        """Return the litres left after some pulls."""
        return self.volume - pulls * self.carried

    def fibre_share(self, pulls: int) -> Decimal:
        """Return the share of the fibre left after some pulls."""
        with localcontext(Context(prec=FIGURES)):
            volume, taken, carried = map(as_decimal, (self.volume, self.taken, self.carried))
            if not carried:
                return (1 - taken / volume) ** pulls
            return math.prod(
                (1 - taken / (volume - pull * carried) for pull in range(pulls)), start=Decimal(1)
            )

    def thickness(self, pulls: int) -> Decimal:
        """Return the consistency after some pulls, as a share of that of the charge."""
        with localcontext(Context(prec=FIGURES)):
            return self.fibre_share(pulls) * as_decimal(self.volume / self.level(pulls))

    def until(self, drop: Fraction) -> int | None:
        """Return after how many pulls the vat is thinned by ``drop`` at most."""
        if not self.thins:
            return None
        most = self.most
        pulls = max(0, math.floor(self._near(drop)))
        if most is not None:
            pulls = min(pulls, most)
        while pulls != most and self._holds(pulls + 1, drop):
            pulls += 1
        while pulls and not self._holds(pulls, drop):
            pulls -= 1
        return pulls

    def _near(self, drop: Fraction) -> float:
        """Return n* of the continuous formula; it is out by a pull or two where water is carried.

        C / C₀ = (V / V₀)^(taken / carried − 1).
        """
        taken = float(self.taken / self.volume)
        if taken >= 1:
            return 0.0
        if not self.carried:
            return math.log1p(-float(drop)) / math.log1p(-taken)
        power = float(self.carried / (self.taken - self.carried))
        fallen = -math.expm1(power * math.log1p(-float(drop)))
        return float(self.volume / self.carried) * fallen

    def _holds(self, pulls: int, drop: Fraction) -> bool:
        """Whether the vat is thinned by no more than ``drop``, decided exactly."""
        over = self.thickness(pulls) - as_decimal(1 - drop)
        if abs(over) > UNDECIDED:
            return over > 0
        left = math.prod(
            (1 - self.taken / self.level(pull) for pull in range(pulls)), start=Fraction(1)
        )
        return left * self.volume >= (1 - drop) * self.level(pulls)
