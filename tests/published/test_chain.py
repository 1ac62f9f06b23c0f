"""The chain of losses, dry sizes and moulds against print and constructed cases."""

from decimal import Decimal
from fractions import Fraction

from orders.calc.chain import sheets_from_fibre
from orders.calc.moulds import dry_size, mould_for
from orders.calc.spec import SheetSpec
from studio.reading import read_quantity
from studio.units import from_um, to_um
from tests.published.rows import agrees, published


def shrinkage_of(row):
    across, down = row["shrinkage"].split(" x ")
    return Decimal(across), Decimal(down)


def spec_of(row):
    cut = {}
    if row["mould"]:
        cut = {
            "mould": read_quantity(row["mould"], "size"),
            "shrinkage": shrinkage_of(row),
            "trim_um": to_um(read_quantity(row["trim"], "length")) if row["trim"] else 0,
        }
    return SheetSpec(
        read_quantity(row["size"], "size"),
        Decimal(row["grammage"]),
        sheet_moisture=Decimal(row["sheet_moisture"]),
        retention=Decimal(row["retention"]),
        broke=Decimal(row["broke"]),
        retree=Decimal(0),
        assurance=Decimal(row["assurance"]),
        **cut,
    )


def counted(row):
    return sheets_from_fibre(
        read_quantity(row["mass"], "mass"),
        moisture=Decimal(row["moisture"]),
        preparation_yield=Decimal(row["preparation_yield"]),
        spec=spec_of(row),
    )


def dry_of(row):
    return dry_size(read_quantity(row["mould"], "size"), shrinkage=shrinkage_of(row))


def dry_area_share(row):
    return Fraction(dry_of(row).area_um2, read_quantity(row["mould"], "size").area_um2)


def fibre_per_wet_m2(row):
    mould = read_quantity(row["mould"], "size")
    return counted(row).fibre_per_pull_g * 10**12 / mould.area_um2


def fibre_per_dry_m2(row):
    return counted({**row, "size": "1 x 1 m", "mould": ""}).fibre_per_sheet_g


def mould_of(row):
    return mould_for(read_quantity(row["size"], "size"), shrinkage=shrinkage_of(row))


def inches(length_um):
    return from_um(length_um).to("in").magnitude


CALCULATIONS = {
    "dry_area_share": dry_area_share,
    "grammage_factor": lambda row: 1 / dry_area_share(row),
    "mould_width": lambda row: inches(mould_of(row).width_um),
    "mould_height": lambda row: inches(mould_of(row).height_um),
    "dry_width": lambda row: from_um(dry_of(row).width_um).magnitude,
    "dry_height": lambda row: from_um(dry_of(row).height_um).magnitude,
    "trim_share": lambda row: spec_of(row).layout.trim_share,
    "fibre_g_per_dry_m2": fibre_per_dry_m2,
    "fibre_g_per_wet_m2": fibre_per_wet_m2,
}


@published("chain")
def test_the_chain_agrees_with_print(row):
    calculate = CALCULATIONS.get(row["calc"])
    value = Fraction(calculate(row) if calculate else getattr(counted(row), row["calc"]))
    assert agrees(Decimal(value.numerator) / value.denominator, row)
