"""The vat against print, constructed cases, and what is common practice in kitchens."""

from decimal import Decimal
from fractions import Fraction

from fibres.calc.scrap import from_sheets
from orders.calc import consistencies, loads, thinning, vat
from studio.reading import read_quantity
from studio.sizes import grammage_from_basis_weight, size_named
from studio.units import Q, to_mg
from tests.published.rows import agrees, published

KINDS = {
    "volume": "volume", "mould": "size", "draw": "length", "wet_grammage": "grammage",
    "retention": "share", "carry": "volume", "pulls": "count", "tolerance": "share",
    "thick": "consistency", "fibre": "mass", "consistency": "consistency", "taken": "volume",
    "fibre_per_pull": "mass",
    "drop": "number", "level": "volume", "strained": "share", "moisture": "share",
    "as_is": "mass", "water": "volume", "load": "mass", "depth": "length", "plan": "size",
    "sheets": "count", "couched_solids": "share",
}  # fmt: skip
LEAST_MG, MOST_MG = 340_000, 900_000


def given(text):
    pairs = (pair.split("=") for pair in text.split("; "))
    return {name: read_quantity(value, KINDS[name], allow_zero=True) for name, value in pairs}


def beaten(fibre, consistency):
    # The charge of a mill is no beater load: it has no smallest one.
    least = LEAST_MG if to_mg(fibre) > LEAST_MG else 0
    return loads.loads_for(to_mg(fibre), least_mg=least, most_mg=MOST_MG, consistency=consistency)


def blended(fibre, load, water):
    return loads.blender_loads(to_mg(fibre), load_mg=to_mg(load), water=water)


def heel(volume, consistency, **how):
    return vat.heel(volume, consistency, **how)


def percent(fibre, volume):
    return consistencies.as_share(consistencies.consistency_of(fibre, volume)) * 100


def letter(sheets):
    grammage = grammage_from_basis_weight(Q(20, "lb"), basic_size="bond")
    estimate = from_sheets(sheets, size=size_named("Letter"), grammage=grammage)
    return Fraction(estimate.as_is_mg, 1000)


def area(unit):
    return lambda **known: consistencies.plan_area(**known).to(unit).magnitude


CALCULATIONS = {
    "charge_consistency": lambda **known: vat.charge(**known).consistency_g_per_l,
    "charge_fibre": lambda **known: vat.charge(**known).fibre_charge_g,
    "charge_draw": lambda **known: vat.charge(**known).effective_draw_l,
    "charge_within": lambda **known: vat.charge(**known).pulls_within_tolerance,
    "charge_first": lambda **known: vat.charge(**known).first_g_m2,
    "charge_last": lambda **known: vat.charge(**known).last_g_m2,
    "charge_thick": lambda **known: vat.charge(**known).recharge.thick_l,
    "charge_water": lambda **known: vat.charge(**known).recharge.water_l,
    "percent": percent,
    "load_litres": lambda **known: beaten(**known).litres_each,
    "load_count": lambda **known: beaten(**known).count,
    "make_up_thick": lambda **known: consistencies.make_up(**known).thick_l,
    "make_up_water": lambda **known: consistencies.make_up(**known).water_l,
    "make_up_fibre": lambda **known: consistencies.make_up(**known).fibre_g,
    "left": lambda **known: thinning.fibre_left(**known).to("g").magnitude,
    "until": thinning.pulls_until,
    "scoop": lambda **known: thinning.top_up(**known).thick_l,
    "fifty_rises": lambda **known: 50 * thinning.top_up(**known).draw_off_l,
    "carried": lambda **known: vat.carried(**known).magnitude,
    "heel_kept": lambda **known: Fraction(heel(**known).kept_oven_dry_mg, 1000),
    "heel_as_is": lambda **known: Fraction(heel(**known).as_is_mg, 1_000_000),
    "stirred_dry": lambda **known: consistencies.suspension(**known).oven_dry_g,
    "stirred_percent": lambda **known: consistencies.suspension(**known).share * 100,
    "stirred_g_per_l": lambda **known: consistencies.suspension(**known).g_per_l,
    "water_ml": lambda **known: consistencies.suspension(**known).water_l * 1000,
    "letter_g": letter,
    "kitchen": consistencies.letter_sheets_per_four_cups,
    "blender_litres": lambda **known: blended(**known).litres,
    "blender_cubic_inches": lambda **known: (
        Q(blended(**known).litres, "L").to("in ** 3").magnitude
    ),
    "blender_count": lambda **known: blended(**known).count,
    "blender_dry": lambda **known: Fraction(blended(**known).loaded_mg, 1000),
    "area_in2": area("in ** 2"),
    "area_cm2": area("cm ** 2"),
    "vat_litres": lambda **known: consistencies.volume_of(**known).magnitude,
}


@published("vat")
def test_the_vat_agrees_with_print(row):
    value = Fraction(CALCULATIONS[row["calc"]](**given(row["given"])))
    assert agrees(Decimal(value.numerator) / value.denominator, row)
