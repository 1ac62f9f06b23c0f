"""Water and losses: oven-dry, as is and usable, as every page of the store says them."""

from __future__ import annotations

from decimal import Decimal

from fibres.calc import moisture as wet
from fibres.calc.spread import yield_spread
from studio.explaining import DEFINITION, Explained, Reader
from studio.units import show_share
from studio.working import Line

ISO_287 = (
    "ISO 287, Paper and board: moisture content of a lot, oven-drying method; its formula from "
    "memory."
)
ISO_801 = "ISO 801, saleable mass of pulp in lots: air-dry is 90 % fibre, wording from memory."
OVEN_DRY = "oven-dry = mass as it is × (1 − moisture)"
USABLE = "usable = oven-dry × preparation yield, rounded down"
YIELD_SET = (
    "Definition. The yield is the owner’s figure, set on the page of the fibre or of the lot."
)
KILOGRAM_MG, POUND_MG = 1_000_000, 453_592


def one_of(reader: Reader) -> int:
    """Return a kilogram, or a pound where masses are read in pounds, in milligrams."""
    return POUND_MG if reader.system == "US" else KILOGRAM_MG


def oven_dry(
    reader: Reader,
    *,
    as_is_mg: int,
    moisture: Decimal,
    dry_mg: int,
    whose: str = "",
    title: str = "Oven-dry",
) -> Explained:
    """Take an oven-dry mass apart; ``whose`` names the row that the figures are of."""
    return Explained(
        title,
        f"{OVEN_DRY}. Moisture is a share of the mass as it is.",
        ISO_287,
        (
            Line("As it is", reader.mass(as_is_mg), whose),
            Line("Moisture", show_share(moisture)),
            Line("Oven-dry", reader.mass(dry_mg), kind="answer"),
        ),
    )


def oven_dry_alone(lines: tuple[Line, ...] = (), title: str = "Oven-dry") -> Explained:
    """Say the rule where a form has no figures yet, or has worked them out itself."""
    return Explained(
        title, f"{OVEN_DRY}. Moisture is a share of the mass as it is.", ISO_287, lines
    )


def as_is(
    reader: Reader, *, dry_mg: int, moisture: Decimal, title: str = "Weighs now, as is"
) -> Explained:
    """Take apart what a lot weighs with its water."""
    return Explained(
        title,
        "mass as it is = oven-dry ÷ (1 − moisture).",
        ISO_287,
        (
            Line("Oven-dry", reader.mass(dry_mg)),
            Line("Moisture", show_share(moisture)),
            Line("As it is", reader.mass(wet.as_is_mg(dry_mg, moisture)), kind="answer"),
        ),
    )


def usable(reader: Reader, *, dry_mg: int, share: Decimal, whose: str = "") -> Explained:
    """Take a usable mass apart; ``whose`` says what the yield is of."""
    return Explained(
        "Usable",
        f"{USABLE}. It is the dry fibre left after sorting, cooking, washing and picking.",
        YIELD_SET,
        (
            Line("Oven-dry", reader.mass(dry_mg)),
            Line("Preparation yield", show_share(share), whose),
            Line("Usable", reader.mass(wet.usable_mg(dry_mg, share)), kind="answer"),
        ),
    )


def usable_alone(lines: tuple[Line, ...] = ()) -> Explained:
    """Say the rule where a form has no figures yet, or has worked them out itself."""
    return Explained("Usable", f"{USABLE}.", YIELD_SET, lines)


def usable_of_one(reader: Reader, *, moisture: Decimal, share: Decimal, name: str) -> Explained:
    """Take apart what a kilogram or a pound of a fibre, as it is, leaves for the vat."""
    one_mg = one_of(reader)
    dry_mg = wet.oven_dry_mg(one_mg, moisture)
    return Explained(
        "From as it is to usable",
        "usable = mass as it is × (1 − usual moisture) × preparation yield.",
        f"{ISO_287} Where the two figures come from stands on the page of the fibre.",
        (
            Line("Usual moisture", show_share(moisture), name),
            Line("Preparation yield", show_share(share), "of the oven-dry mass"),
            Line(
                f"Usable, of {'a pound' if reader.system == 'US' else 'a kilogram'} as it is",
                reader.mass(wet.usable_mg(dry_mg, share)),
                kind="answer",
            ),
        ),
    )


def varies(*, spread: Decimal, share: Decimal) -> Explained:
    """Take apart how far the usable fibre of a kind may be off."""
    return Explained(
        "How far the yield varies",
        "usable fibre varies by = standard deviation of the yield ÷ preparation yield.",
        "Definition. The standard deviation is the owner’s figure, set on the page of the fibre.",
        (
            Line("Standard deviation", show_share(spread), "in shares of the oven-dry mass"),
            Line("Preparation yield", show_share(share)),
            Line(
                "Usable fibre varies by",
                show_share(yield_spread(spread, preparation_yield=share)),
                "either way, in two lots of three",
                "answer",
            ),
        ),
    )


def of_a_sample() -> Explained:
    """Say how a sample gives the moisture of a lot."""
    return Explained(
        "Moisture of the sample",
        "moisture = (before drying − after drying) ÷ (before drying − dish). The dish is in both "
        "weighings and counts 0 where the sample was weighed by itself.",
        ISO_287,
    )


def price_by_mass(
    reader: Reader,
    *,
    paid_minor: int,
    dry_mg: int,
    minor_per_kg: Decimal,
    whose: str = "",
    title: str = "Paid, oven-dry",
) -> Explained:
    """Take apart what a kilogram or a pound of dry fibre cost."""
    return Explained(
        title,
        f"price a {reader.unit} = paid for the whole lot ÷ its oven-dry mass as it came. Its "
        "share of freight is in what was paid.",
        DEFINITION,
        (
            Line("Paid", reader.money(paid_minor), whose),
            Line("Oven-dry, as it came", reader.mass(dry_mg)),
            Line("Oven-dry costs", reader.price(minor_per_kg), kind="answer"),
        ),
    )
