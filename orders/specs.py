"""A sheet as the arithmetic takes it: its own figures, and what is known beside them."""

from __future__ import annotations

from decimal import Decimal

from fibres.models import Drying, Shrinkage
from orders.calc.spec import SheetSpec
from orders.learning.spreads import Spreads, read_spreads
from orders.models import Sheet
from studio.models import Studio
from studio.sizes import Size

NO_SHRINKAGE = (Decimal(0), Decimal(0))


class Shrinkages(dict[tuple[int, str], tuple[Decimal, Decimal]]):
    """Shrinkage across and along by furnish and drying, and how far good shares were learned."""

    spreads: Spreads | None = None


def read_shrinkages() -> Shrinkages:
    """Return what sheets are reckoned with beside their own figures."""
    rows = Shrinkage.objects.values_list("furnish_id", "drying", "across", "along")
    known = Shrinkages(
        ((furnish, drying), (across, along)) for furnish, drying, across, along in rows
    )
    known.spreads = read_spreads()
    return known


def spec_of(
    sheet: Sheet,
    studio: Studio,
    shrinkages: dict[tuple[int, str], tuple[Decimal, Decimal]],
) -> SheetSpec:
    """Return a sheet as the arithmetic takes it; a cut sheet needs its mould to be laid out."""
    cut = sheet.edges == Sheet.Edges.TRIMMED and sheet.mould is not None
    mould = sheet.mould
    spreads = shrinkages.spreads if isinstance(shrinkages, Shrinkages) else None
    return SheetSpec(
        size=Size(sheet.width_um, sheet.height_um),
        grammage=sheet.grammage,
        sheet_moisture=(
            studio.sheet_moisture if sheet.sheet_moisture is None else sheet.sheet_moisture
        ),
        non_fibre_share=sheet.non_fibre_share,
        retention=sheet.retention,
        broke=sheet.broke,
        retree=sheet.retree,
        assurance=studio.assurance,
        mould=Size(mould.width_um, mould.height_um) if cut and mould else None,
        shrinkage=shrinkages.get((sheet.furnish_id, Drying(sheet.drying)), NO_SHRINKAGE),
        trim_um=sheet.trim_um if cut else 0,
        learned=spreads.of(sheet) if spreads else None,
    )
