"""Broke and retree that were taken over spread the good share in the safe counts."""

import json
from decimal import Decimal

import pytest

from orders import learning, snapshot
from orders.calc.cover import allocate
from orders.calc.plan import from_json, to_json
from orders.calc.sheets import safe_pulls
from orders.learning.spreads import read_spreads
from orders.learning.taking import as_kept
from orders.makings import finish, log
from studio.errors import SnapshotError
from tests.builders import day, make_commission, make_lot, make_making, make_studio
from tests.orders.learnings import linter, make_done
from tests.orders.looking import look, said

pytestmark = pytest.mark.django_db
D = Decimal
# Of 50 finished sheets: makings that differ much from one another, 10 % faulty on average.
UNLIKE = ((50, 49, 0, 1), (50, 41, 0, 9)) * 3


def take_over(figure, sheet):
    one = learning.learn().find(figure, f"sheet-{sheet.pk}")
    learning.accept(
        figure, one.slug, value=as_kept(one.value), stands=as_kept(one.stands), by=None
    )
    sheet.refresh_from_db()


def spec_of(sheet):
    return snapshot.spec_of(sheet, make_studio(), snapshot.read_shrinkages())


@pytest.fixture
def sheet(db):
    """Return a sheet whose broke and retree six makings have shown."""
    _, _, found = linter()
    for number, counts in enumerate(UNLIKE):
        make_done(found, counts=counts, finished_on=day(20 - number))
    return found


def test_set_rates_are_not_spread(sheet):
    assert spec_of(sheet).learned is None


def test_what_is_taken_over_is_spread_by_the_makings_behind_it(sheet):
    take_over("broke", sheet)
    take_over("retree", sheet)
    spec = spec_of(sheet)
    # The mean is what the sheet says, exactly; only its spread is learned.
    assert spec.good_share == 1 - sheet.broke - sheet.retree
    a, b = spec.learned
    assert 5 < a + b < 20
    make_commission(sheet, good_quantity=100)
    promise = snapshot.read(day()).commissions[0]
    assert promise.learned == spec.learned
    set_anew = spec.__class__(**{**vars_of(spec), "learned": None})
    assert safe_pulls(spec, 100) > safe_pulls(set_anew, 100)


def vars_of(spec):
    return {name: getattr(spec, name) for name in spec.__dataclass_fields__}


def test_makings_since_do_not_count_until_they_are_taken_over(sheet):
    take_over("broke", sheet)
    before = spec_of(sheet).learned
    make_done(sheet, counts=(500, 100, 0, 400), finished_on=day())
    assert spec_of(sheet).learned == before


def test_a_making_entered_late_with_an_earlier_day_does_not_count_either(sheet):
    take_over("broke", sheet)
    before = spec_of(sheet).learned
    make_done(sheet, counts=(500, 100, 0, 400), finished_on=day(40))
    assert spec_of(sheet).learned == before
    # What is taken over anew rests on it too.
    take_over("broke", sheet)
    assert spec_of(sheet).learned != before


def test_makings_behind_it_are_told_by_the_entry_that_issued_their_fibre(owner):
    """All of them broke: no sheet was made, and still each was looked at."""
    _, lot, sheet = linter()
    for broke in (100, 60):
        making = log.start(make_making(sheet), by=owner)
        log.issue(making, lot, as_is_mg=1_000_000, by=owner)
        log.tap(making, "broke", post=1, change=broke, by=owner)
        log.tap(making, "good", post=1, change=100 - broke, by=owner)
        log.note_heel(making, "none", by=owner)
        finish.finish(making, accept_over=True, by=owner)
    counted = read_spreads()._counted
    assert counted == {}
    take_over("broke", sheet)
    behind = read_spreads()._behind(sheet)
    assert behind == ((0, 100), (40, 100))


def test_rates_set_by_hand_since_are_not_spread(sheet):
    take_over("broke", sheet)
    sheet.broke = D("0.05")
    sheet.save()
    assert spec_of(sheet).learned is None


def test_a_sheet_of_which_nothing_was_taken_over_stays_as_it_is(sheet):
    take_over("broke", sheet)
    _, _, other = linter(name="Raw linter")
    make_done(other)
    assert spec_of(other).learned is None


def test_the_chance_of_cover_is_worked_out_with_it(sheet):
    take_over("broke", sheet)
    make_lot(sheet.furnish.parts.get().fibre)
    make_commission(sheet, good_quantity=200)
    read = snapshot.read(day())
    spread = allocate(read).commissions[0].sure()
    assert spread.learned == read.commissions[0].learned


def test_a_snapshot_keeps_the_learned_share(sheet):
    take_over("broke", sheet)
    make_commission(sheet)
    read = snapshot.read(day())
    plain = json.loads(json.dumps(to_json(read)))
    assert from_json(plain).commissions[0].learned == read.commissions[0].learned
    for wrong in (["45"], ["45", "x"], ["45", "0"], [45, 5], "45:5", ["NaN", "5"]):
        plain["commissions"][0]["learned"] = wrong
        with pytest.raises(SnapshotError, match="two numbers as text"):
            from_json(plain)


def test_the_page_of_the_sheet_says_that_it_is_learned(viewer_client, sheet):
    take_over("broke", sheet)
    words = said(look(viewer_client, f"/sheets/{sheet.pk}/"))
    assert "learned from 6 makings" in words
    assert "good (learned " in words


def test_reading_takes_the_same_queries_for_1_and_20(sheet, django_assert_num_queries):
    take_over("broke", sheet)
    with django_assert_num_queries(4):
        snapshot.read_shrinkages()
    for number in range(19):
        _, _, other = linter(name=f"Linter {number}")
        make_done(other, counts=(100, 80, 4, 16))
        take_over("broke", other)
    with django_assert_num_queries(4):
        snapshot.read_shrinkages()
