"""Taking a learned figure over, and where a figure comes from afterwards."""

import uuid
from decimal import Decimal

import pytest

from fibres.models import Shrinkage
from orders import learning
from orders.learning.figures import Figure
from orders.learning.taking import CHANGED
from orders.models import AcceptedFigure
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import (
    make_furnish,
    make_mould,
    make_sheet,
)
from tests.orders.learnings import linter, make_done, take_over

pytestmark = pytest.mark.django_db
D = Decimal


# --- taking over


def two_linters():
    fibre, lot, sheet = linter()
    make_done(sheet, lots={lot: 800_000})
    make_done(sheet, lots={lot: 760_000})
    return fibre, f"fibre {fibre.pk}"


def test_nothing_is_applied_until_the_owner_takes_it_over():
    fibre, _ = two_linters()
    learning.learn()
    fibre.refresh_from_db()
    assert fibre.preparation_yield == D("0.95")


def test_taking_over_writes_the_figure_and_the_book_in_one_entry(owner):
    fibre, subject = two_linters()
    row = take_over(Figure.YIELD, subject, by=owner)
    fibre.refresh_from_db()
    assert fibre.preparation_yield == D("0.9354")
    assert (row.before, row.value, row.makings) == ("0.95", "0.9354", 2)
    assert row.entry.by == owner
    assert "Took over preparation yield of Cotton linter: 0.9354" in row.entry.said


def test_one_page_takes_over_once(owner):
    _, subject = two_linters()
    key = uuid.uuid4()
    take_over(Figure.YIELD, subject, by=owner, key=key)
    with pytest.raises(AlreadyEnteredError):
        learning.accept(
            Figure.YIELD, subject.replace(" ", "-"), value="0.9354", stands="0.95", by=owner,
            key=key,
        )  # fmt: skip
    assert AcceptedFigure.objects.count() == 1


@pytest.mark.parametrize("shown", [("0.9", "0.95"), ("0.9354", "0.94")])
def test_what_changed_since_the_page_was_shown_is_not_taken_over(owner, shown):
    fibre, subject = two_linters()
    value, stands = shown
    with pytest.raises(StudioError, match=CHANGED[:40]):
        learning.accept(
            Figure.YIELD, subject.replace(" ", "-"), value=value, stands=stands, by=owner
        )
    fibre.refresh_from_db()
    assert fibre.preparation_yield == D("0.95")
    assert not AcceptedFigure.objects.exists()


def test_a_figure_that_cannot_be_is_refused_and_nothing_is_written(owner):
    fibre, lot, sheet = linter()
    make_done(sheet, lots={lot: 800_000})
    entries = Entry.objects.count()
    with pytest.raises(StudioError, match="does not show how far makings differ"):
        take_over(Figure.YIELD, f"fibre {fibre.pk}", by=owner)
    assert Entry.objects.count() == entries


@pytest.mark.parametrize(
    "slug",
    ["fibre-0", "fibre-x", "sheet-1", "furnish-1-loft", "mould-1", "", "fibre-999999999999"],
)
def test_no_such_figure_is_refused(owner, slug):
    with pytest.raises(StudioError, match="no such figure"):
        learning.accept("yield", slug, value="0.9", stands="0.9", by=owner)


def test_shrinkage_that_was_never_set_is_kept_with_none_the_other_way(owner):
    furnish, mould = make_furnish(), make_mould()
    for across in (304_000, 300_800):
        make_done(
            make_sheet(furnish, mould=mould),
            trial={"width_um": across, "height_um": 441_000},
        )
    take_over("across", f"furnish {furnish.pk} restraint", by=owner)
    row = Shrinkage.objects.get(furnish=furnish)
    assert (row.drying, row.across, row.along) == ("restraint", D("0.055"), D(0))
    take_over("along", f"furnish {furnish.pk} restraint", by=owner)
    row.refresh_from_db()
    assert (row.across, row.along) == (D("0.055"), D("0.02"))


def test_draw_and_minutes_are_kept_where_they_are_used(owner):
    mould = make_mould(width_um=210_000, height_um=297_000)
    sheet = make_sheet(mould=mould)
    for minutes in (400, 500):
        make_done(sheet, trial={"consistency": D("0.005")}, minutes={"form": minutes})
    take_over(Figure.DRAW, f"mould {mould.pk}", by=owner)
    take_over(Figure.MINUTES, f"sheet {sheet.pk}", by=owner)
    mould.refresh_from_db()
    sheet.refresh_from_db()
    # 7 g over 0.06237 m² at 5 g/L: 22.447 mm.
    assert mould.draw_um == 22_447
    assert sheet.minutes_per_pull == D("4.5")


# --- where a figure comes from


def test_origin_is_usual_then_set_then_learned_then_set_again(owner):
    fibre, lot, sheet = linter()
    for _ in range(2):
        make_done(sheet, lots={lot: 800_000}, counts=(100, 80, 4, 16))
    assert learning.sheet_origins(sheet)["broke"] == "usual"
    assert learning.origin_of("minutes", f"sheet {sheet.pk}", None) == "usual"
    take_over(Figure.BROKE, f"sheet {sheet.pk}", by=owner)
    sheet.refresh_from_db()
    assert learning.sheet_origins(sheet)["broke"] == "learned from 2 makings"
    assert learning.sheet_origins(sheet)["retree"] == "usual"
    sheet.broke = D("0.1")
    assert learning.sheet_origins(sheet)["broke"] == "set"
    said = learning.origin_of("yield", f"fibre {fibre.pk}", D("0.9"), usual=[D("0.90")])
    assert said == "usual"
