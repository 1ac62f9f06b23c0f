"""The mass of sheets, reams, piles and boxes against print and common practice."""

from decimal import Decimal

from fibres.calc.scrap import from_boxes, from_pile, from_reams, from_sheets, worth_of
from studio.reading import read_quantity
from studio.units import from_mg
from tests.published.rows import agrees, published


def estimate(row):
    paper = {
        "size": read_quantity(row["size"], "size"),
        "grammage": read_quantity(row["grammage"], "grammage"),
    }
    if row["method"] == "pile":
        return from_pile(read_quantity(row["count"], "length"), **paper)
    counted = {"sheets": from_sheets, "reams": from_reams, "boxes": from_boxes}
    return counted[row["method"]](int(row["count"]), **paper)


@published("scrap")
def test_scrap_mass_agrees_with_print(row):
    mass_mg = estimate(row).as_is_mg
    if row["moisture"]:
        mass_mg = worth_of(
            estimate(row),
            moisture=Decimal(row["moisture"]),
            usable_share=Decimal(row["usable_share"]),
        ).usable_mg
    assert agrees(from_mg(mass_mg).to(row["unit"]).magnitude, row)


def test_blender_load_is_about_half_a_per_cent():
    """One letter sheet in four US cups: 0.45 % oven-dry (T2; common practice, no source)."""
    sheet = from_sheets(
        1, size=read_quantity("Letter", "size"), grammage=read_quantity("20 lb bond", "grammage")
    )
    dry = worth_of(sheet, moisture=Decimal("0.055"), usable_share=Decimal(1)).oven_dry_mg
    water = read_quantity("4 cups", "volume").to("mL").magnitude * Decimal("0.998")
    consistency = Decimal(dry) / 1000 / (water + Decimal(sheet.as_is_mg) / 1000)
    assert abs(consistency - Decimal("0.0045")) < Decimal("0.00005")
