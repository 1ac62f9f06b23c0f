"""What the arithmetic of the vat answers with; volumes are litres, masses oven-dry grams."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Context, Decimal, localcontext
from fractions import Fraction
from typing import Any

from orders.calc._consistency import FIGURES, as_decimal, quantity
from orders.calc._thinning import Draining
from orders.calc._vatwords import plain_charge, working_lines
from studio.sizes import Size
from studio.units import Quantity, System
from studio.working import Line


@dataclass(frozen=True, slots=True)
class TopUp:
    """What a vat is given after a number of pulls, to be again what it was.

    ``water_l`` below 0 are litres to draw off through a sieve, so that their fibre stays.
    """

    after: int
    fibre_g: Decimal
    thick_l: Decimal
    water_l: Decimal

    @property
    def clear_water_l(self) -> Decimal:
        """Return the clear water to pour in beside the scoop."""
        return max(self.water_l, Decimal(0))

    @property
    def draw_off_l(self) -> Decimal:
        """Return what has to leave the vat, so that its level doesn't rise."""
        return max(-self.water_l, Decimal(0))


@dataclass(frozen=True, slots=True)
class PulledSheet:
    """One sheet of a making: its grammage, and the vat as it was before the mould went in."""

    pull: int
    g_m2: Decimal
    consistency_g_per_l: Decimal
    volume_l: Decimal
    is_topped_up: bool = False


@dataclass(frozen=True, slots=True)
class Heel:
    """What is left in the vat: all its fibre, and what a sieve keeps of it as a wet lot."""

    volume_l: Decimal
    consistency_g_per_l: Decimal
    oven_dry_mg: int
    kept_oven_dry_mg: int
    as_is_mg: int
    keep_until: date | None = None


@dataclass(frozen=True, slots=True)
class MakeUp:
    """Thick stuff and water that make a volume at a consistency."""

    thick_l: Decimal
    water_l: Decimal
    fibre_g: Decimal


@dataclass(frozen=True, slots=True)
class VatPlan:
    """What a vat is asked for, exactly; each share is from 0 to 1."""

    volume_l: Fraction
    mould: Size
    draw_mm: Fraction
    wet_grammage_g_m2: Fraction
    retention: Fraction
    lost: Fraction
    carry_l: Fraction
    pulls: int
    tolerance: Fraction
    thick_g_per_l: Fraction | None

    @property
    def mould_m2(self) -> Fraction:
        """Return the opening of the mould."""
        return Fraction(self.mould.area_um2, 10**12)

    @property
    def effective_draw_mm(self) -> Fraction:
        """Return the depth of suspension whose fibre stays on the mould."""
        return self.draw_mm * self.retention

    @property
    def effective_draw_l(self) -> Fraction:
        """Return the suspension whose fibre stays on the mould at one pull."""
        return self.mould_m2 * self.effective_draw_mm

    @property
    def consistency_g_per_l(self) -> Fraction:
        """Return the consistency that gives the grammage."""
        return self.wet_grammage_g_m2 / self.effective_draw_mm

    @property
    def fibre_charge_g(self) -> Fraction:
        """Return the oven-dry fibre in the full vat."""
        return self.consistency_g_per_l * self.volume_l

    @property
    def draining(self) -> Draining:
        """Return the vat as it thins; what becomes no sheet leaves it all the same."""
        return Draining(self.volume_l, self.effective_draw_l / (1 - self.lost), self.carry_l)


@dataclass(frozen=True, slots=True)
class VatCharge:
    """A vat from its charge to its heel: how it thins, and what keeps it from thinning.

    ``scoop`` is the usual top-up, given every ``recharge_every`` pulls; ``schedule`` holds all of
    them, the last one smaller or left out. ``recharge`` is what the vat would take after all
    pulls if it were never topped up; it and ``last_g_m2`` are None where so many pulls would
    leave too little in the vat. ``pulls_within_tolerance`` is None where the vat doesn't thin,
    ``recharge_every`` also where it needs no top-up at all.
    """

    plan: VatPlan
    pulls_within_tolerance: int | None
    recharge_every: int | None
    last_g_m2: Decimal | None
    recharge: TopUp | None
    scoop: TopUp | None
    schedule: tuple[TopUp, ...]
    heel_volume_l: Decimal
    heel_fibre_g: Decimal
    fibre_in_sheets_g: Decimal
    fibre_lost_g: Decimal

    @property
    def consistency_g_per_l(self) -> Fraction:
        """Return the consistency of the charge."""
        return self.plan.consistency_g_per_l

    @property
    def consistency(self) -> Quantity:
        """Return the consistency of the charge as a quantity."""
        return quantity(self.plan.consistency_g_per_l, "g/L")

    @property
    def fibre_charge_g(self) -> Fraction:
        """Return the oven-dry fibre in the full vat."""
        return self.plan.fibre_charge_g

    @property
    def effective_draw_l(self) -> Fraction:
        """Return the suspension whose fibre stays on the mould at one pull."""
        return self.plan.effective_draw_l

    @property
    def first_g_m2(self) -> Fraction:
        """Return the grammage of the first sheet: that of the full charge."""
        return self.plan.wet_grammage_g_m2

    @property
    def fibre_total_g(self) -> Decimal:
        """Return the oven-dry fibre that the charge and all top-ups take."""
        return as_decimal(
            self.fibre_charge_g + sum(Fraction(top_up.fibre_g) for top_up in self.schedule)
        )

    @property
    def charged_with(self) -> MakeUp | None:
        """Return the thick stuff and the water that fill the vat, where stuff is made up thick."""
        if self.plan.thick_g_per_l is None:
            return None
        thick = self.fibre_charge_g / self.plan.thick_g_per_l
        return MakeUp(
            as_decimal(thick),
            as_decimal(self.plan.volume_l - thick),
            as_decimal(self.fibre_charge_g),
        )

    @property
    def draw_off_l(self) -> Decimal:
        """Return all the litres to draw off beside the top-ups."""
        return sum((top_up.draw_off_l for top_up in self.schedule), Decimal(0))

    @property
    def level_holds_at_g_per_l(self) -> Fraction | None:
        """Return the consistency at which a top-up leaves the level as it is.

        Thinner stuff lifts the level. None where no water is carried away: then all stuff does.
        """
        carry = self.plan.carry_l
        taken = self.plan.draining.taken * self.consistency_g_per_l
        return taken / carry if carry else None

    @property
    def centre_by(self) -> Decimal | None:
        """Return how much thicker than on target a charge is whose sheets lie round the target.

        None where there are no top-ups: the band between them is what is centred.
        """
        if not self.schedule:
            return None
        lowest = self.plan.draining.thickness(self.schedule[0].after - 1)
        return 2 / (1 + lowest) - 1

    def pulled(self) -> tuple[PulledSheet, ...]:
        """Return every sheet in turn, the vat topped up by the schedule."""
        return tuple(_pulled(self.plan, {top_up.after: top_up for top_up in self.schedule}))

    def thinning(self) -> tuple[PulledSheet, ...]:
        """Return every sheet in turn with no top-up, as far as the vat gives them."""
        return tuple(_pulled(self.plan, {}))

    def lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Return the sum line by line, from the consistency to the heel."""
        return working_lines(self, system)

    def as_json(self) -> dict[str, Any]:
        """Return the answer as plain numbers, the units in the keys."""
        return plain_charge(self)


def _pulled(plan: VatPlan, top_ups: dict[int, TopUp]) -> Iterator[PulledSheet]:
    """Yield sheet after sheet by the step from one pull to the next."""
    vat = plan.draining
    most = plan.pulls if vat.most is None or top_ups else min(plan.pulls, vat.most)
    whole, taken, carried, grammage, charge = map(
        as_decimal,
        (vat.volume, vat.taken, vat.carried, plan.wet_grammage_g_m2, plan.fibre_charge_g),
    )
    volume, fibre = whole, charge
    for pull in range(most):
        added = top_ups.get(pull)
        with localcontext(Context(prec=FIGURES)):
            if added:
                volume, fibre = whole, fibre + added.fibre_g
            thickness = (fibre / charge) * (whole / volume)
            sheet = PulledSheet(
                pull=pull + 1,
                g_m2=grammage * thickness,
                consistency_g_per_l=fibre / volume,
                volume_l=volume,
                is_topped_up=bool(added),
            )
            volume, fibre = volume - carried, fibre * (1 - taken / volume)
        yield sheet
