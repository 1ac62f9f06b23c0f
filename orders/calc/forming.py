"""What a run at the vat takes: fibre for its pulls, for trial sheets, and to fill the vat.

The vat is kept at its consistency to the last sheet, so that what fills it is left in it at the
end: for a small order that heel is more than the order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from orders.calc import vat
from orders.calc._shared import as_quantity, checked_share
from orders.calc.moulds import dry_size, mould_for
from orders.calc.spec import SheetSpec
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import Q, Quantity, System, show_mass, show_number, show_share
from studio.working import Line

# Grams in a litre of a suspension that is all fibre: it is taken for as heavy as water.
GRAMS_A_LITRE = 1000
SAID, LEARNED, USUAL = "said", "learned", "usual"
# A mould within a millimetre of the one that is wanted is that mould: common practice, no source.
TOLERANCE_UM = 1_000


@dataclass(frozen=True, slots=True)
class ToForm:
    """A run at the vat as it is planned.

    ``opening`` is the mould inside its deckle; None stands for one that dries to the sheet.
    ``vat`` is what the vat holds, None where none is known. ``draw`` is the depth of vat whose
    fibre stays on the mould. ``consistency`` is what was said for this run; without it the draw
    gives it, and without a draw ``usual_consistency``. ``heel_mg`` counts where no vat is known.
    """

    spec: SheetSpec
    pulls: int
    trial_pulls: int = 0
    opening: Size | None = None
    vat: Quantity | None = None
    draw: Quantity | None = None
    consistency: Decimal | None = None
    usual_consistency: Decimal = Decimal("0.005")
    thick_consistency: Decimal = Decimal("0.02")
    couched_solids: Decimal = Decimal("0.175")
    tolerance: Decimal = Decimal("0.1")
    heel_mg: int = 0


@dataclass(frozen=True, slots=True)
class Trial:
    """What one sheet has to weigh, in milligrams: as couched, and dried with its moisture."""

    wet_mg: int
    dry_mg: int
    least_mg: int
    most_mg: int


@dataclass(frozen=True, slots=True)
class Forming:
    """What a run takes; masses are milligrams of usable fibre, without water."""

    asked: ToForm
    opening: Size
    wet_grammage: Quantity
    consistency: Quantity
    consistency_is: str
    draw: Quantity
    charge: vat.VatCharge | None
    pull_mg: Fraction
    order_mg: Fraction
    trial_mg: Fraction
    heel_mg: Fraction
    trial: Trial

    @property
    def total_mg(self) -> int:
        """Fibre that has to come out of preparation, rounded up."""
        return math.ceil(self.order_mg + self.trial_mg + self.heel_mg)

    @property
    def stuff(self) -> Quantity:
        """All of the stuff, made up at the consistency that tops up the vat."""
        return self._thick(Fraction(self.total_mg))

    @property
    def charge_stuff(self) -> Quantity:
        """What of the stuff goes into the vat before the first sheet."""
        return self._thick(self.heel_mg)

    @property
    def charge_water(self) -> Quantity:
        """The clear water that the vat is filled up with."""
        litres = Decimal(0) if self.asked.vat is None else self.asked.vat.to("L").magnitude
        return Q(max(litres - self.charge_stuff.magnitude, Decimal(0)), "L")

    @property
    def left_in_vat_mg(self) -> int:
        """Fibre in the vat after the last sheet: the last scoop is cut to what that one needs."""
        if self.charge is None:
            return round(self.heel_mg)
        return round(self.charge.heel_fibre_g * 1000)

    @property
    def left_in_stuff_mg(self) -> int:
        """Fibre in the stuff that neither charge nor scoops nor trial sheets took."""
        if self.charge is None:
            return 0
        taken = Fraction(self.charge.fibre_total_g) * 1000 + self.trial_mg
        return max(round(self.total_mg - taken), 0)

    @property
    def is_heel_larger(self) -> bool:
        """Whether more fibre stays in the vat than goes into the sheets."""
        return self.heel_mg > self.order_mg

    def water_for(self, as_is_mg: int) -> Quantity:
        """Return the water that makes up the stuff from lots as they were weighed out."""
        litres = self.stuff.magnitude - Decimal(as_is_mg) / 1_000_000
        return Q(max(litres, Decimal(0)), "L")

    def lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Return the sum of the fibre, from the pulls to what has to be prepared."""
        asked, spec = self.asked, self.asked.spec

        def mass(mass_mg: Fraction | int) -> str:
            return show_mass(round(mass_mg), system=system)

        return (
            Line("Pulls to form", show_number(asked.pulls)),
            Line("Fibre in one pull", mass(self.pull_mg), "oven-dry, over the pull"),
            Line(
                "For the pulls",
                mass(self.order_mg),
                f"pulls × fibre in one / {show_share(spec.retention)} that stays on the mould",
            ),
            Line("For trial sheets", mass(self.trial_mg), f"{asked.trial_pulls} pulls, to broke"),
            Line("To keep the vat full to the end", mass(self.heel_mg), self._heel_words()),
            Line("Fibre to prepare", mass(self.total_mg), "usable fibre, without water", "answer"),
        )

    def _heel_words(self) -> str:
        if self.asked.vat is None:
            return "the studio’s usual heel; no vat is chosen"
        litres = show_number(self.asked.vat.to("L").magnitude, places=0)
        return f"{litres} L kept at {show_number(self.consistency.magnitude, places=2)} g/L"

    def _thick(self, mass_mg: Fraction) -> Quantity:
        share = Fraction(self.asked.thick_consistency)
        litres = mass_mg / 1000 / (share * GRAMS_A_LITRE)
        return Q(Decimal(litres.numerator) / Decimal(litres.denominator), "L")


def form(asked: ToForm) -> Forming:
    """Return what a run at the vat takes.

    Parameters
    ----------
    asked : ToForm
        Sheet, pulls, mould, vat and habits.

    Returns
    -------
    Forming
        Fibre for pulls, trial sheets and heel [mg], consistency [g/L], and what a trial sheet
        has to weigh [mg].

    Raises
    ------
    RangeError
        If there is nothing to pull, or what tops up the vat is no thicker than the vat.

    Notes
    -----
    Fibre on the mould per wet-formed area is that of the dry sheet less the shrinkage; with the
    effective draw it gives the consistency, and the other way round. Definition. That a vat kept
    at its consistency is full of fibre at the end is trade practice, no source.

    Examples
    --------
    >>> card = SheetSpec(Size(130_000, 180_000), Decimal(130), retention=Decimal("0.95"))
    >>> found = form(ToForm(card, 49, vat=Q(60, "L")))
    >>> round(found.order_mg / 1000), round(found.heel_mg / 1000)
    (147, 300)
    """
    spec = asked.spec
    if asked.pulls < 1:
        raise RangeError(
            f"Pulls must be a whole number, 1 or more, got {asked.pulls}.",
            field="pulls",
            value=asked.pulls,
        )
    opening = asked.opening or mould_for(spec.pull, shrinkage=spec.shrinkage)
    wet_grammage = _wet_grammage(spec)
    consistency, known = _consistency(asked, wet_grammage)
    draw = vat.draw_for(wet_grammage, consistency)
    larger = _times_larger(spec, opening)
    _check_thick(asked, consistency)
    charge = _charge(asked, opening, draw, wet_grammage)
    litres = Fraction(0) if asked.vat is None else Fraction(asked.vat.to("L").magnitude)
    heel = litres * Fraction(consistency.magnitude) * 1000 or Fraction(asked.heel_mg)
    return Forming(
        asked=asked,
        opening=opening,
        wet_grammage=wet_grammage,
        consistency=consistency,
        consistency_is=known,
        draw=draw,
        charge=charge,
        pull_mg=spec.fibre_per_pull_mg * larger,
        order_mg=asked.pulls * spec.drawn_per_pull_mg * larger,
        trial_mg=asked.trial_pulls * spec.drawn_per_pull_mg * larger,
        heel_mg=heel,
        trial=trial_sheet(
            spec, couched_solids=asked.couched_solids, tolerance=asked.tolerance, larger=larger
        ),
    )


def _times_larger(spec: SheetSpec, opening: Size) -> Fraction:
    """Return how much more a mould takes up than one that dries to the sheet as it is pulled."""
    dry, wanted = dry_size(opening, shrinkage=spec.shrinkage), spec.pull
    off = (
        max(abs(dry.width_um - side), abs(dry.height_um - other))
        for side, other in (
            (wanted.width_um, wanted.height_um),
            (wanted.height_um, wanted.width_um),
        )
    )
    if min(off) <= TOLERANCE_UM:
        return Fraction(1)
    return Fraction(dry.area_um2) / Fraction(wanted.area_um2)


def trial_sheet(
    spec: SheetSpec,
    *,
    couched_solids: Decimal,
    tolerance: Decimal,
    larger: Fraction = Fraction(1),
) -> Trial:
    """Return what a sheet of a making has to weigh.

    Parameters
    ----------
    spec : SheetSpec
        The sheet; the whole dry pull is weighed, before anything is cut off.
    couched_solids : Decimal [-]
        Fibre in a couched sheet, as a share of what it weighs, above 0 up to 1.
    tolerance : Decimal [-]
        How far a sheet may be off its grammage, 0 to 1.
    larger : Fraction [-]
        How many times the area of the sheet the mould gives.

    Returns
    -------
    Trial [mg]
        As couched, dried, and the least and the most that is within the tolerance.

    Raises
    ------
    RangeError
        If a share is outside what it can be.

    Notes
    -----
    Dry: grammage × area of the pull, with the moisture of a finished sheet. Wet: its fibre over
    the couched solids; 15 to 20 % is usual, from memory. Definition.

    Examples
    --------
    >>> a4 = SheetSpec(Size(210_000, 297_000), Decimal(120))
    >>> trial_sheet(a4, couched_solids=Decimal("0.175"), tolerance=Decimal("0.1"))
    Trial(wet_mg=40202, dry_mg=7484, least_mg=6736, most_mg=8232)
    """
    solids = checked_share("The fibre in a couched sheet", couched_solids, zero=False)
    off = checked_share("The tolerance", tolerance)
    dry = Fraction(spec.grammage) * spec.pull.area_um2 * larger / 10**9
    return Trial(
        wet_mg=round(spec.fibre_per_pull_mg * larger / solids),
        dry_mg=round(dry),
        least_mg=math.ceil(dry * (1 - off)),
        most_mg=math.floor(dry * (1 + off)),
    )


def charged_at(asked: ToForm) -> Quantity:
    """Return the consistency that the vat is charged to.

    Parameters
    ----------
    asked : ToForm
        Sheet, mould and habits, as :func:`form` takes them.

    Returns
    -------
    Quantity [mass/volume]
        In grams a litre.

    Raises
    ------
    RangeError
        If the draw is not above zero.

    Notes
    -----
    What was said, else grammage on the mould over its draw, else the usual figure. Definition.

    Examples
    --------
    >>> a4 = SheetSpec(Size(210_000, 297_000), Decimal(120))
    >>> round(charged_at(ToForm(a4, 10, draw=Q(20, "mm"))), 2)
    <Quantity(5.64, 'gram / litre')>
    """
    return _consistency(asked, _wet_grammage(asked.spec))[0]


def _wet_grammage(spec: SheetSpec) -> Quantity:
    """Return the fibre on a square metre of the mould."""
    across, along = (1 - Fraction(share) for share in spec.shrinkage)
    fibre = (1 - Fraction(spec.sheet_moisture)) * (1 - Fraction(spec.non_fibre_share))
    wet = as_quantity(Fraction(spec.grammage) * 1000 * fibre * across * along)
    return Q(wet.magnitude, "g/m2")


def _consistency(asked: ToForm, wet_grammage: Quantity) -> tuple[Quantity, str]:
    if asked.consistency is not None:
        return Q(asked.consistency * GRAMS_A_LITRE, "g/L"), SAID
    if asked.draw is not None:
        return vat.consistency_for(wet_grammage, asked.draw), LEARNED
    return Q(asked.usual_consistency * GRAMS_A_LITRE, "g/L"), USUAL


def _check_thick(asked: ToForm, consistency: Quantity) -> None:
    share = consistency.magnitude / GRAMS_A_LITRE
    if asked.thick_consistency <= share:
        raise RangeError(
            f"What tops up the vat is {show_share(asked.thick_consistency, places=2)} fibre, and "
            f"the vat itself {show_share(share, places=2)}. Top up with thicker stuff.",
            field="thick_consistency",
            value=asked.thick_consistency,
        )


def _charge(
    asked: ToForm, opening: Size, draw: Quantity, wet_grammage: Quantity
) -> vat.VatCharge | None:
    """Return how the vat thins and is topped up; what does not stay on the mould leaves it too."""
    if asked.vat is None:
        return None
    spec = asked.spec
    return vat.charge(
        asked.vat,
        mould=opening,
        draw=draw,
        wet_grammage=wet_grammage,
        carry=vat.carried(
            as_quantity(spec.fibre_per_pull_mg), couched_solids=asked.couched_solids
        ),
        pulls=asked.pulls,
        tolerance=asked.tolerance,
        thick=Q(asked.thick_consistency * GRAMS_A_LITRE, "g/L"),
        lost=1 - spec.retention,
    )
