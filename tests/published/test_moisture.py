"""Moisture, air-dry mass and consistency against standards and notes in print."""

from decimal import Decimal

from fibres.calc.moisture import (
    as_is_mass,
    moisture_from_sample,
    oven_dry_mass,
    regain,
    saleable_mass,
    usable_mass,
    wet_basis,
)
from studio.units import Q
from tests.published.rows import agrees, published


def mass_of(row):
    return Q(row["mass"], row["mass_unit"])


def air_dry_of_gross(row, share):
    return saleable_mass(oven_dry_mass(mass_of(row), moisture=share))


def consistency(row, _share):
    """Return the dry share of a suspension: what its moisture leaves."""
    dry = Q(row["dry_mass"], row["mass_unit"])
    return 1 - moisture_from_sample(mass_of(row), dry_mass=dry)


CALCULATIONS = {
    "wet_basis": lambda row, share: wet_basis(share),
    "regain": lambda row, share: regain(share),
    "oven_dry": lambda row, share: oven_dry_mass(mass_of(row), moisture=share),
    "oven_dry_of_regain": lambda row, share: oven_dry_mass(
        mass_of(row), moisture=wet_basis(share)
    ),
    "as_is": lambda row, share: as_is_mass(mass_of(row), moisture=share),
    "air_dry": lambda row, share: saleable_mass(mass_of(row), dryness=share),
    "air_dry_of_gross": air_dry_of_gross,
    "sample": consistency,
    "usable": lambda row, share: usable_mass(mass_of(row), preparation_yield=share),
}


@published("moisture")
def test_moisture_agrees_with_print(row):
    share = Decimal(row["share"] or 0)
    answer = CALCULATIONS[row["calc"]](row, share)
    if row["unit"] != "-":
        answer = answer.to(row["unit"]).magnitude
    assert agrees(answer, row)
