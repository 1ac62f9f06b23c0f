"""The sums of the bench: what is asked, and the lines of the answer. Nothing is written."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

from fibres.calc import moisture as wet
from orders.calc.chain import FibreNeed, fibre_for_sheets, sheets_from_fibre
from orders.calc.spec import SheetSpec
from studio.forms import (
    CountField,
    GrammageField,
    LengthField,
    MassField,
    RowForm,
    ShareField,
    SizeField,
)
from studio.sizes import basic_sizes, basis_weight_from_grammage
from studio.units import Q, show_grammage, show_mass, show_number, show_share, show_size, to_um
from studio.working import Line

NONE = Decimal(0)


def _grams(exact: Fraction) -> int:
    """Return exact grams as whole milligrams, to be worded."""
    return round(exact * 1000)


class Sum(RowForm):
    """One sum: what is typed, and ``lines`` once it can be read."""

    name = ""
    heading = ""
    note = ""
    # The rows that are folded away until somebody needs them.
    folded: tuple[str, ...] = ()
    folded_words = ""
    # What is said where nothing is worked out before somebody asks.
    waiting = ""

    def __init__(self, *args: Any, system: str = "metric", **kwargs: Any) -> None:
        self.system: Any = system
        super().__init__(*args, system=system, auto_id=f"id_{self.name}_%s", **kwargs)

    def lines(self) -> list[Line]:
        """Return the sum set out; refuses with a StudioError what cannot be."""
        raise NotImplementedError

    @property
    def rows_in_sight(self) -> list[Any]:
        """The rows that everybody needs."""
        return [field for field in self.visible_fields() if field.name not in self.folded]

    @property
    def rows_folded(self) -> list[Any]:
        """The rows that are folded away."""
        return [field for field in self.visible_fields() if field.name in self.folded]

    @property
    def is_open(self) -> bool:
        """Whether a folded row has something to put right."""
        return any(name in self.errors for name in self.folded)


class SheetSum(Sum):
    """What two of the sums ask about the sheet."""

    mass = MassField(label="Fibre, as is", help_text="As weighed, with its water.")
    moisture = ShareField(label="Its moisture", help_text="Water as a share of the mass as is.")
    preparation_yield = ShareField(
        label="Left after preparation", help_text="Usable fibre of the oven-dry mass."
    )
    size = SizeField(label="Dry size", help_text="Such as A4, 8.5 x 11 in or 210 × 297 mm.")
    grammage = GrammageField(positive=True, help_text="120 g/m², or with its grade 32 lb bond.")
    sheet_moisture = ShareField(label="Moisture of the sheet", required=False)
    non_fibre = ShareField(label="Not fibre", required=False)
    retention = ShareField(label="Stays on the mould", required=False)
    broke = ShareField(label="Broke", required=False)
    retree = ShareField(label="Retree", required=False)
    mould = SizeField(
        label="Mould, if cut",
        required=False,
        help_text="Left empty: one deckle-edged sheet a pull.",
    )
    shrinkage_across = ShareField(label="Shrinks across", required=False)
    shrinkage_along = ShareField(label="Shrinks along", required=False)
    trim = LengthField(label="Cut off each side", required=False)

    USUAL = {
        "mass": Q(10, "kg"),
        "moisture": Decimal("0.08"),
        "preparation_yield": Decimal("0.95"),
        "size": "A4",
        "grammage": Q(120, "g/m2"),
        "sheet_moisture": Decimal("0.06"),
        "non_fibre": NONE,
        "retention": Decimal("0.96"),
        "broke": Decimal("0.08"),
        "retree": Decimal("0.04"),
    }
    folded = (
        "sheet_moisture", "non_fibre", "retention", "broke", "retree", "mould",
        "shrinkage_across", "shrinkage_along", "trim",
    )  # fmt: skip
    folded_words = "Losses, mould and shrinkage; what is filled in is usual"

    def spec(self) -> SheetSpec:
        """Return the sheet that is asked about; what is left empty takes the usual figure."""
        given = self.cleaned_data

        def share(name: str) -> Decimal:
            return self.USUAL.get(name, NONE) if given[name] is None else given[name]

        mould = given["mould"]
        return SheetSpec(
            size=given["size"],
            grammage=given["grammage"].to("g/m2").magnitude,
            sheet_moisture=share("sheet_moisture"),
            non_fibre_share=share("non_fibre"),
            retention=share("retention"),
            broke=share("broke"),
            retree=share("retree"),
            mould=mould,
            shrinkage=(share("shrinkage_across"), share("shrinkage_along")),
            trim_um=to_um(given["trim"]) if given["trim"] is not None and mould else 0,
        )

    def fibre(self) -> dict[str, Any]:
        """Return what is said of the fibre."""
        given = self.cleaned_data
        return {"moisture": given["moisture"], "preparation_yield": given["preparation_yield"]}


class SheetsFromFibre(SheetSum):
    """How many good sheets a heap of fibre makes."""

    name = "sheets"
    heading = "Sheets from fibre"
    note = "From a heap of fibre to good sheets"

    def lines(self) -> list[Line]:
        """Set out the sum from the mass to the good sheets."""
        count = sheets_from_fibre(self.cleaned_data["mass"], spec=self.spec(), **self.fibre())
        return list(count.lines(self.system))


class FibreForSheets(SheetSum):
    """What a number of good sheets takes."""

    name = "takes"
    heading = "Fibre for sheets"
    note = "From good sheets back to the fibre"

    wanted = CountField(label="Good sheets", unit="sheets", least=1, most=1_000_000)
    mass = MassField(
        label="Fibre at hand, as is", required=False, help_text="Left empty: nothing at hand."
    )

    USUAL = {**SheetSum.USUAL, "wanted": 100, "mass": None}
    field_order = ["wanted"]

    def lines(self) -> list[Line]:
        """Set out the sum from the good sheets to what to weigh out."""
        at_hand = self.cleaned_data["mass"]
        need = fibre_for_sheets(
            self.cleaned_data["wanted"],
            as_is_mass=Q(0, "kg") if at_hand is None else at_hand,
            spec=self.spec(),
            **self.fibre(),
        )
        *lines, _ = need.lines(self.system)
        return lines if at_hand is None else [*lines, self._against(need)]

    def _against(self, need: FibreNeed) -> Line:
        """Set what is needed against what is at hand."""
        at_hand = show_mass(_grams(need.oven_dry_on_hand_g), system=self.system)
        if need.covered:
            left = show_mass(
                _grams(need.oven_dry_on_hand_g - need.oven_dry_needed_g), system=self.system
            )
            word = "Covered" if need.state == "covered" else "Just covered"
            return Line(f"{word}, left over", left, f"oven-dry; {at_hand} at hand", "answer")
        short = show_mass(_grams(need.short_oven_dry_g), system=self.system)
        return Line("Short by", short, f"oven-dry; {at_hand} at hand", "answer")


class DryMass(Sum):
    """Moisture of a sample, and the oven-dry mass of the lot it stands for."""

    name = "dry"
    heading = "Dry mass"
    note = "From a weighed sample"

    wet = MassField(("g", "kg", "oz", "lb"), label="Sample, wet", positive=True)
    dry = MassField(
        ("g", "kg", "oz", "lb"), label="Sample, oven-dry",
        help_text="Dried at 105 °C until it loses no more.",
    )  # fmt: skip
    tare = MassField(("g", "kg", "oz", "lb"), label="Dish", required=False)
    whole = MassField(label="Whole lot, as is", required=False)

    USUAL = {"wet": Q(100, "g"), "dry": Q("21.5", "g"), "whole": Q("6.8", "kg")}

    def lines(self) -> list[Line]:
        """Set out moisture on both bases, and the lot."""
        given = self.cleaned_data
        tare = Q(0, "g") if given["tare"] is None else given["tare"]
        found = wet.moisture_from_sample(given["wet"], dry_mass=given["dry"], tare_mass=tare)
        water = given["wet"] - given["dry"]
        lines = [
            Line("Water in the sample", show_mass(water, system=self.system), "wet less oven-dry"),
            Line(
                "Moisture",
                show_share(found, places=2),
                "water as a share of the wet sample without its dish",
                "answer",
            ),
            Line(
                "Regain", show_share(wet.regain(found), places=2), "the same on the oven-dry mass"
            ),
        ]
        if given["whole"] is not None:
            dry = wet.oven_dry_mass(given["whole"], moisture=found)
            because = "whole lot less its moisture"
            lines.append(
                Line("Lot, oven-dry", show_mass(dry, system=self.system), because, "answer")
            )
        return lines


class BasisWeight(Sum):
    """Grammage and pounds a ream, in every grade."""

    name = "basis"
    heading = "Basis weight"
    note = "Between grammage and pounds a ream"

    weight = GrammageField(
        positive=True, label="Weight", help_text="120 g/m², or with its grade 80 lb text."
    )

    USUAL = {"weight": Q(120, "g/m2")}

    def lines(self) -> list[Line]:
        """Set out the same paper in g/m² and by grade."""
        weight = self.cleaned_data["weight"]
        lines = [Line("Grammage", show_grammage(weight), "of the sheet", "answer")]
        for basic in basic_sizes().values():
            pounds = basis_weight_from_grammage(weight, basic_size=basic).magnitude
            lines.append(
                Line(
                    basic.name.capitalize(),
                    f"{show_number(pounds, places=1)}\u00a0lb",
                    f"{basic.sheets} sheets of {show_size(basic.size, system='US')}",
                )
            )
        return lines
