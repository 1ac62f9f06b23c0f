"""Tables of the store."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils.html import format_html

from fibres.lotbook import BookLine
from fibres.models import Fibre, Furnish, FurnishPart, Lot
from fibres.wording import furnish_in_words
from studio.tables import (
    CountColumn,
    DayColumn,
    GaugeColumn,
    KgColumn,
    LedgerTable,
    MarkColumn,
    MoneyColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
)


class ClosedMixin:
    """A column that says only of a closed row that it is closed."""

    def render_closed(self, value: Any) -> str:
        """Say that the row is closed."""
        return self.value_closed(value)

    def value_closed(self, value: Any) -> str:
        """Say the same in a file."""
        return "Closed" if value else ""


class StoreTable(LedgerTable):
    """How each fibre stands."""

    caption = "Oven-dry"
    shape = "three"
    nothing = "No fibre is on hand, promised or kept a minimum of."
    total_word = "All fibre"

    fibre = RowHeader("Fibre", accessor="name", link="fibre.get_absolute_url", second="second")
    on_hand = KgColumn("On hand", accessor="on_hand_mg", total=True, in_caption=True)
    at_the_vat = KgColumn("At the vat", accessor="at_the_vat_mg", visible=False)
    promised = KgColumn("Promised", accessor="promised_mg", total=True, in_caption=True)
    free = KgColumn("Free", accessor="free_mg", total=True, in_caption=True)
    on_its_way = KgColumn("On its way", accessor="on_its_way_mg", total=True, in_caption=True)
    minimum = KgColumn("Minimum", accessor="minimum_mg", in_caption=True)
    bar = GaugeColumn("How it stands", accessor="bar")
    state = MarkColumn("State", accessor="mark")


def moisture_known(lot: Lot) -> str:
    """Return how the moisture of a lot is known, in small letters."""
    return str(lot.moisture_known)


class LotTable(LedgerTable):
    """Lots with their water taken off."""

    caption = "Lots"
    caption_unseen = True
    shape = "three"
    nothing = "No lot has been entered yet."
    total_word = "In these lots"

    lot = RowHeader("Lot", accessor="ref", code=True, second="fibre.name")
    fibre = TextColumn("Fibre", accessor="fibre__name", visible=False)
    form = TextColumn("Form", accessor="form", second="place")
    place = TextColumn("Where it lies", accessor="place", visible=False)
    source = TextColumn("From", accessor="source_name", wide=True)
    received = DayColumn("Received", accessor="received_on")
    as_is = KgColumn("As-is", accessor="as_is_mg")
    moisture = ShareColumn("Moisture", second=moisture_known)
    known = TextColumn("Moisture known from", accessor="moisture_known", visible=False)
    oven_dry = KgColumn("Oven-dry", accessor="received_oven_dry_mg")
    left = KgColumn("Left", accessor="oven_dry_mg", total=True)
    cost = MoneyColumn("Paid", accessor="paid_minor_per_kg", per="kg")


class BookTable(LedgerTable):
    """The book of one lot, line by line."""

    caption = "Every line stays. To put one right, enter a correction."
    shape = "three"
    nothing = "Nothing has happened to this lot."
    total_word = "Left today"

    day = RowHeader("Day", accessor="day", link=None, orderable=False)
    what = TextColumn("What happened", accessor="what", wide=True, orderable=False)
    as_is = KgColumn("As-is", accessor="as_is_mg", orderable=False)
    moisture = ShareColumn("Moisture", orderable=False)
    came = KgColumn("In", accessor="in_mg", orderable=False)
    went = KgColumn("Out", accessor="out_mg", orderable=False)
    left = KgColumn("Left", accessor="left_mg", orderable=False)
    who = TextColumn("By", accessor="who", orderable=False)
    put_right = TextColumn(
        "Put right", accessor="correctable_pk", orderable=False, exclude_from_export=True
    )

    def render_day(self, value: Any) -> str:
        """Show the day of a line, short."""
        return f"{value.day} {value:%b}"

    def render_put_right(self, value: int, record: BookLine) -> Any:
        """Lead to the correction of a line."""
        address = reverse("movement_correct", args=[value])
        words = f"entry of {self.render_day(record.day)}"
        return format_html(
            '<a class="tall" href="{}">Correct<span class="unseen"> the {}</span></a>',
            address,
            words,
        )


class FibreTable(LedgerTable):
    """Every fibre with its usual figures."""

    caption = "Fibres"
    caption_unseen = True
    shape = "three"
    nothing = "No fibre has been entered yet."

    fibre = RowHeader("Fibre", accessor="name", second="state")
    state = TextColumn("Form and state", accessor="state", visible=False)
    family = TextColumn("Family", accessor="family")
    usual_moisture = ShareColumn("Moisture")
    preparation_yield = ShareColumn("Yield")
    on_hand = KgColumn("On hand", accessor="on_hand_mg")
    lots = CountColumn("Lots", accessor="lots_held")
    use = TextColumn("In use", accessor="use_in_words", orderable=False)

    def render_family(self, record: Fibre) -> str:
        """Show the family in one word; its label explains it at length."""
        return self.value_family(record)

    def value_family(self, record: Fibre) -> str:
        """Show the same in a file."""
        return str(record.family).capitalize()


class RefusedTable(LedgerTable):
    """Classes of scrap that are turned away, each with its reason."""

    caption = "Classes of scrap that are not accepted"
    caption_unseen = True

    fibre = RowHeader("Class", accessor="name")
    why = TextColumn("Why", accessor="refusals", wide=True)


class SourceTable(ClosedMixin, LedgerTable):
    """Where fibre comes from."""

    caption = "Sources"
    caption_unseen = True
    shape = "three"
    nothing = "No source has been entered yet."

    source = RowHeader("Source", accessor="name_shown")
    kind = TextColumn("Kind")
    lots = CountColumn("Lots", accessor="lots_given")
    given = KgColumn("Came from it", accessor="given_mg", basis="oven-dry")
    last = DayColumn("Last received", accessor="last_received")
    thanked = DayColumn("Thanked", accessor="thanked_on")
    closed = TextColumn("In use", accessor="closed_on")


def parts_in_words(furnish: Furnish) -> str:
    """Word the fibres of a furnish: "60 % Cotton linter, 40 % Abaca"."""
    return furnish_in_words(furnish.parts.all())


class FurnishTable(ClosedMixin, LedgerTable):
    """Furnishes with what is in them."""

    caption = "Furnishes"
    caption_unseen = True
    nothing = "No furnish has been entered yet."

    furnish = RowHeader("Furnish", accessor="name")
    parts = TextColumn("Fibres", accessor="pk", wide=True, orderable=False)
    additions = CountColumn("Additions", accessor="addition_count")
    closed = TextColumn("In use", accessor="closed_on")

    def render_parts(self, record: Furnish) -> str:
        """Word the fibres."""
        return parts_in_words(record)

    def value_parts(self, record: Furnish) -> str:
        """Word the same in a file."""
        return parts_in_words(record)


class PartTable(LedgerTable):
    """The fibres of one furnish."""

    caption = "Fibres, by share of dry fibre"
    shape = "three"
    nothing = "No fibre is in it yet."
    total_word = "In all"

    fibre = RowHeader("Fibre", accessor="fibre__name", link="fibre.get_absolute_url")
    share = ShareColumn("Share", total=True)
    least = ShareColumn("Least")
    most = ShareColumn("Most")
    substitutes = TextColumn("May be replaced by", wide=True)

    def render_substitutes(self, record: FurnishPart) -> str:
        """Name the fibres that may stand in."""
        return self.value_substitutes(record)

    def value_substitutes(self, record: FurnishPart) -> str:
        """Name the same in a file."""
        return ", ".join(fibre.name for fibre in record.substitutes.all())


class AdditionTable(LedgerTable):
    """The additions of one furnish."""

    caption = "Additions, dosed on dry fibre"
    shape = "few"
    nothing = "Nothing is added."

    addition = RowHeader("Addition", accessor="name", link=None)
    kind = TextColumn("Kind")
    dose = ShareColumn("Dose", places=2)
    price = MoneyColumn("Price", accessor="minor_per_kg", per="kg")


class ShrinkageTable(LedgerTable):
    """The shrinkages of one furnish."""

    caption = "Shrinkage in drying"
    shape = "few stay"
    nothing = "No shrinkage is known. A sheet is taken to dry as large as the mould."

    drying = RowHeader("Drying", link=None)
    across = ShareColumn("Across")
    along = ShareColumn("Along")
    origin = TextColumn("Where it comes from", orderable=False)
