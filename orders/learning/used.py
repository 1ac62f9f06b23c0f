"""What a making is reckoned with: each figure that makings can teach, and where it comes from."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any

from fibres import reference
from fibres.models import Fibre, Lot, Shrinkage
from orders.learning.origins import SHEET_FIELDS, Book
from orders.models import AcceptedFigure, Making
from studio.units import System, show_length, show_share
from studio.working import Line

Figure = AcceptedFigure.Figure


def figures_used(
    making: Making,
    fibres: Iterable[Fibre],
    lots: Iterable[str],
    *,
    has_draw: bool,
    system: System = "metric",
) -> tuple[Line, ...]:
    """Return the figures of a making, its fibres and lots, in a fixed number of queries.

    ``has_draw`` says whether the draw of the mould decides how thick the vat is.
    """
    fibres = list(fibres)
    usual = {row["name"]: row["preparation_yield"] for row in reference.read_fibres()}
    shrinkage = f"furnish {making.sheet.furnish_id} {making.drying}"
    subjects = [f"sheet {making.sheet_id}", f"mould {making.mould_id}", shrinkage]
    book = Book.read([*subjects, *(f"fibre {fibre.pk}" for fibre in fibres)])
    return (
        *_of_mould(making, book, system, has_draw=has_draw),
        *_of_sheet(making, book),
        *_of_furnish(making, shrinkage, book),
        *(_of_fibre(fibre, book, usual) for fibre in fibres),
        *_of_lots(lots),
    )


def _of_mould(making: Making, book: Book, system: System, *, has_draw: bool) -> Iterator[Line]:
    mould = making.mould
    if has_draw and mould is not None and mould.draw_um is not None:
        draw = show_length(mould.draw_um, system=system)
        origin = book.origin_of(Figure.DRAW, f"mould {mould.pk}", mould.draw_um)
        yield Line("Draw of the mould", draw, origin)


def _of_sheet(making: Making, book: Book) -> Iterator[Line]:
    sheet = making.sheet
    for figure, label in (
        (Figure.RETENTION, "Stays on the mould"),
        (Figure.BROKE, "Broke"),
        (Figure.RETREE, "Retree"),
    ):
        value: Decimal = getattr(sheet, SHEET_FIELDS[figure])
        yield Line(label, show_share(value), book.origin_of(figure, f"sheet {sheet.pk}", value))


def _of_furnish(making: Making, subject: str, book: Book) -> Iterator[Line]:
    known = Shrinkage.objects.filter(furnish=making.sheet.furnish_id, drying=making.drying).first()
    if known is not None:
        for figure, label, value in (
            (Figure.SHRINKAGE_ACROSS, "Shrinkage across", known.across),
            (Figure.SHRINKAGE_ALONG, "Shrinkage along", known.along),
        ):
            yield Line(label, show_share(value), book.origin_of(figure, subject, value))


def _of_fibre(fibre: Fibre, book: Book, usual: dict[str, Any]) -> Line:
    share, known = fibre.preparation_yield, usual.get(fibre.name)
    origin = book.origin_of(
        Figure.YIELD, f"fibre {fibre.pk}", share, usual=[known] if known else []
    )
    return Line(f"Left of {fibre.name}", show_share(share), origin)


def _of_lots(refs: Iterable[str]) -> Iterator[Line]:
    """Yield the lots whose own yield goes before that of their fibre."""
    own = Lot.objects.filter(ref__in=set(refs), preparation_yield__isnull=False).order_by("ref")
    for ref, share in own.values_list("ref", "preparation_yield"):
        yield Line(f"Left of lot {ref}", show_share(share), "set for this lot")
