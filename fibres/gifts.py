"""A gift of scrap from what a person measured to what it is worth; page and command share it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from fibres.calc import scrap
from fibres.calc.estimates import Estimate, Worth
from fibres.models import Fibre, Lot
from fibres.wording import mass_words
from studio.errors import RangeError, StudioError
from studio.sizes import Size
from studio.units import Quantity, System, show_mass, show_share
from studio.working import Line

Measured = Lot.Measured
PAPER = ("number", "size", "grammage")
# What each way of measuring asks for; anything else that was typed is left aside.
NEEDED: dict[str, tuple[str, ...]] = {
    Measured.WEIGHED: ("mass",),
    Measured.COUNTED: PAPER,
    Measured.REAMS: PAPER,
    Measured.PILE: ("height", "size", "grammage"),
    Measured.BOXES: PAPER,
    Measured.GUESS: ("mass",),
}
MEASURES = ("mass", "number", "height", "size", "grammage")
# The most that a single mass may be typed as, so that no product of figures goes beyond it.
LARGEST_MG = 100_000 * 1_000_000


@dataclass(frozen=True, slots=True)
class Measure:
    """How a gift was measured, with the figures that this way needs; ``mass`` is as it is."""

    method: str
    mass: Quantity | None = None
    number: Decimal | None = None
    height: Quantity | None = None
    size: Size | None = None
    grammage: Quantity | None = None


def estimate(measure: Measure) -> Estimate:
    """Return the as-is mass of a gift with its band."""
    for name in NEEDED[measure.method]:
        if getattr(measure, name) is None:
            raise StudioError(
                f"{Measured(measure.method).label}: the {name} is missing. Give it too.",
                field=name,
            )
    found = _estimate(measure)
    if found.as_is_mg > LARGEST_MG:
        given, most = mass_words(found.as_is_mg, LARGEST_MG)
        raise RangeError(
            f"That comes to {given}. Give figures that come to {most} or less.",
            field=NEEDED[measure.method][0],
            value=found.as_is_mg,
        )
    return found


def _estimate(measure: Measure) -> Estimate:
    if measure.method == Measured.WEIGHED:
        return scrap.from_weight(measure.mass)
    if measure.method == Measured.GUESS:
        return scrap.from_guess(measure.mass)
    sheet = {"size": measure.size, "grammage": measure.grammage}
    if measure.method == Measured.PILE:
        return scrap.from_pile(measure.height, **sheet)
    if measure.method == Measured.REAMS:
        return scrap.from_reams(measure.number, **sheet)
    if measure.method == Measured.BOXES:
        return scrap.from_boxes(measure.number, **sheet)
    return scrap.from_sheets(_whole_sheets(measure.number), **sheet)


def _whole_sheets(number: Decimal | None) -> int:
    count = int(number or 0)
    if count != number:
        raise RangeError(
            "Give a whole number of sheets, such as 640.", field="number", value=number
        )
    return count


def worth(found: Estimate, fibre: Fibre, moisture: Decimal) -> Worth:
    """Return what a gift comes to as fibre of its class."""
    return scrap.worth_of(found, moisture=moisture, usable_share=fibre.preparation_yield)


def refusal_of(fibre: Fibre) -> str:
    """Return the sentence that turns a class away."""
    return f"{fibre.name} is refused at the door: {fibre.refusals} Nothing was entered."


def sum_lines(
    found: Estimate,
    value: Worth,
    fibre: Fibre,
    *,
    moisture: Decimal,
    moisture_because: str,
    system: System = "metric",
    closes: bool = True,
) -> list[Line]:
    """Set out what a gift comes to, from as it stands to usable fibre."""
    lost_mg = value.oven_dry_mg - value.usable_mg
    water_mg = found.as_is_mg - value.oven_dry_mg
    way = Measured(found.method).label.lower()
    because = f"{way}, ± {show_share(found.band)}" if found.band else way
    return [
        Line("As it stands", show_mass(found.as_is_mg, system=system), because),
        Line(
            "Less moisture",
            show_mass(-water_mg, system=system),
            f"{show_share(moisture)}, {moisture_because}",
        ),
        Line("Oven-dry", show_mass(value.oven_dry_mg, system=system), kind="line"),
        Line(
            "Less lost in preparation",
            show_mass(-lost_mg, system=system),
            f"{show_share(1 - fibre.preparation_yield)}, usual for this class",
        ),
        Line(
            "Usable fibre",
            show_mass(value.usable_mg, system=system),
            kind="answer" if closes else "line",
        ),
    ]


def band_words(found: Estimate, value: Worth, system: System = "metric") -> str:
    """Say between which masses the usable fibre lies, or nothing where it was weighed."""
    if not found.band:
        return ""
    low, high = (
        show_mass(end, system=system) for end in (value.usable_low_mg, value.usable_high_mg)
    )
    return f"Between {low} and {high} usable. Weigh the gift to narrow it."
