"""The two pages of the store that know of promises and sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any

from fibres.models import Fibre, FurnishPart
from fibres.views import LogScrapPage, StorePage
from orders import services, snapshot, workings
from orders.calc.spec import SheetSpec
from orders.explained import fromthestore as explained
from orders.models import Sheet
from orders.views.shapes import today
from studio.errors import StudioError
from studio.explaining import Explained, rows_of
from studio.roles import needs
from studio.sizes import Size
from studio.units import show_grammage, show_number, show_share, show_size
from studio.working import Line

SHEETS_SHOWN = 3
A4 = Size(210_000, 297_000)
PLAIN_GRAMMAGE = Decimal(120)


@needs("read")
class Store(StorePage):
    """The store, with what is promised of each fibre."""

    @cached_property
    def promised(self) -> dict[int, services.FibrePromise]:
        """What the promises want, asked once for the page."""
        return services.promised_by_fibre(today())

    def promised_mg(self) -> Mapping[int, int]:
        """Return what is promised of each fibre."""
        return {pk: promise.promised_mg for pk, promise in self.promised.items()}

    def short_from(self) -> Mapping[int, date]:
        """Return the first day on which a promise of a fibre cannot be kept."""
        return {
            pk: promise.short_from
            for pk, promise in self.promised.items()
            if promise.short_from is not None
        }

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Add what is promised."""
        free, *others = super().explain(shown)
        return (free, explained.promised(self.reader, rows_of(shown.get("fibres"))), *others)


@needs("store.receive")
class LogScrap(LogScrapPage):
    """Log scrap, with the good sheets that it makes."""

    fibre: Fibre | None = None

    def work_out(self, form: Any) -> dict[str, Any]:
        """Remember what was given, to find the sheets made of it."""
        self.fibre = form.cleaned_data["fibre"]
        return super().work_out(form)

    def sheets_from(self, usable_mg: int) -> list[Line]:
        """Return how many good sheets the gift makes, of the sheets that are made of it."""
        lines = [self._line(part, usable_mg) for part in self._parts()]
        found = [line for line in lines if line is not None][:SHEETS_SHOWN]
        return found or [self._plain_line(usable_mg)]

    def _parts(self) -> list[tuple[Sheet, Decimal]]:
        shares = dict(
            FurnishPart.objects.filter(fibre=self.fibre).values_list("furnish_id", "share")
        )
        sheets = Sheet.objects.filter(furnish__in=shares, closed_on=None).select_related("mould")
        return [(sheet, shares[sheet.furnish_id]) for sheet in sheets.order_by("name")]

    def _line(self, part: tuple[Sheet, Decimal], usable_mg: int) -> Line | None:
        sheet, share = part
        try:
            spec = snapshot.spec_of(sheet, self.studio, self._shrinkages)
            count = workings.good_sheets(spec, usable_mg, share)
        except StudioError:
            return None
        because = sheet_words(spec, self.studio.units)
        if share < 1:
            because = f"{because}; {show_share(share)} of its fibre, if the rest is there"
        return Line(f"Good sheets, about: {sheet.name}", show_number(count), because, "answer")

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Add the sheets that are made of it."""
        return (*super().explain(shown), explained.sheets_of_a_gift(shown))

    @cached_property
    def _shrinkages(self) -> dict[tuple[int, str], tuple[Decimal, Decimal]]:
        return snapshot.read_shrinkages()

    def _plain_line(self, usable_mg: int) -> Line:
        spec = SheetSpec(
            A4,
            PLAIN_GRAMMAGE,
            sheet_moisture=self.studio.sheet_moisture,
            assurance=self.studio.assurance,
        )
        count = workings.good_sheets(spec, usable_mg)
        because = (
            f"no sheet is made of it yet; {show_share(spec.broke)} broke and "
            f"{show_share(spec.retree)} retree off"
        )
        label = f"Good sheets, about: A4, {show_grammage(PLAIN_GRAMMAGE)}"
        return Line(label, show_number(count), because, "answer")


def sheet_words(spec: SheetSpec, system: Any) -> str:
    """Word size and grammage of a sheet."""
    return f"{show_size(spec.size, system=system)}, {show_grammage(spec.grammage)}"
