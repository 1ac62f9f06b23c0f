"""Provenance both ways: from sheets to donors, and from a donor to sheets."""

from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fibres import services
from fibres.models import Lot, Movement
from orders import provenance
from orders.makings import log
from orders.provenance import became_of, origins
from tests.builders import KG, day, make_fibre, make_lot, make_making
from tests.orders.trails import donor, office, own_broke, run, school_and_linter

pytestmark = pytest.mark.django_db


def origin(making, user):
    (found,) = origins([making], user)
    return found


def drawn(found):
    return {part.lot.ref: part.drawn.as_is_mg for part in found.drawn}


@pytest.fixture
def paper_and_linter():
    return school_and_linter()


def test_making_leads_to_lots_sources_and_donors(owner, paper_and_linter):
    paper, linter = paper_and_linter
    found = origin(run([(paper, 3_400_000), (linter, 505_000)]), owner)
    assert drawn(found) == {paper.ref: 3_400_000, linter.ref: 505_000}
    assert found.drawn[0].lot.source_name == "Nettlebank School"
    # 3.400 kg × 0.95 × 0.80 = 2.584 kg; 0.505 kg × 0.92 × 0.98 = 0.455308 kg, by hand.
    assert [part.usable_mg for part in found.drawn] == [2_584_000, 455_308]
    assert found.statement.recycled_percent == 85


def test_heel_and_broke_are_traced_on_to_the_makings_they_came_from(owner, paper_and_linter):
    paper, linter = paper_and_linter
    broke, stuff = own_broke(), make_fibre(name="Wet stuff", code="WS")
    first = run([(paper, 3 * KG), (linter, KG)], broke=(broke, KG), heel=(stuff, 400_000))
    second = run([(first.broke_lot, 500_000), (first.heel_lot, 400_000), (linter, KG)])
    found = origin(second, owner)
    assert set(drawn(found)) == {first.broke_lot.ref, first.heel_lot.ref, linter.ref}
    traced = {part.lot: part for part in found.traced}
    assert set(traced) == {paper, linter}
    assert traced[paper].through == (first,)
    # Broke 0.5 kg × 0.2 × 0.95 = 95 g, heel 0.4 kg × 0.15 × 0.95 = 57 g. Of the first making
    # 2.280 of 3.1816 kg was paper: 95 g × 2.28 / 3.1816 + 57 g × 2.28 / 3.1816 = 108.926 g.
    assert traced[paper].usable_mg == 68_079 + 40_847
    assert all(part.is_own for part in found.drawn if part.lot != linter)


def test_heel_kept_as_a_virgin_or_recycled_fibre_is_the_studios_own(owner, paper_and_linter):
    paper, linter = paper_and_linter
    first = run([(paper, 3 * KG)], heel=(paper.fibre, 2 * KG))
    found = origin(run([(first.heel_lot, KG), (linter, KG)]), owner)
    assert found.statement.recycled_mg == 0
    assert found.statement.in_house_mg > 0


def test_broke_of_broke_is_traced_through_every_making(owner, paper_and_linter):
    paper, linter = paper_and_linter
    broke = own_broke()
    making = run([(paper, 3 * KG)], broke=(broke, KG))
    for _ in range(3):
        making = run([(making.broke_lot, KG), (linter, 100_000)], broke=(broke, KG))
    found = origin(making, owner)
    assert paper in {part.lot for part in found.traced}
    assert sum(part.share for part in found.drawn) == 1
    own = sum(part.usable_mg for part in found.drawn if part.is_own)
    assert {part.lot for part in found.traced} == {paper, linter}
    assert abs(sum(part.usable_mg for part in found.traced) - own) <= 3


def test_broke_and_heel_of_one_making_do_not_multiply_along_a_chain(owner, paper_and_linter):
    # Two ways from each making to the next: 2 ** 40 ways in all, and one row for each lot.
    paper, _ = paper_and_linter
    broke = own_broke()
    making = run([(paper, 8 * KG)], broke=(broke, 8 * KG), heel=(broke, 8 * KG))
    for step in range(40):
        wet = (8 * KG - (step + 1) * 100_000,) * 2
        lots = [(making.broke_lot, wet[0]), (making.heel_lot, wet[1])]
        making = run(lots, broke=(broke, wet[0]), heel=(broke, wet[1]))
    traced = {part.lot.pk: part for part in origin(making, owner).traced}
    assert traced[paper.pk].share > Fraction(99, 100)


def test_issue_that_was_put_right_counts_as_it_now_stands(owner, paper_and_linter):
    paper, linter = paper_and_linter
    making = run([(paper, 3 * KG), (linter, KG)])
    issued = Movement.objects.get(lot=paper, kind="issued")
    services.correct(issued, as_is_mg=2 * KG, happened_on=day(), why="Read again", by=owner)
    assert drawn(origin(making, owner))[paper.ref] == 2 * KG
    again = Movement.objects.get(lot=paper, kind="issued", reversed_by=None)
    services.correct(again, as_is_mg=0, happened_on=day(), why="Not taken", by=owner)
    assert set(drawn(origin(making, owner))) == {linter.ref}


def test_making_at_the_vat_tells_what_is_weighed_out_so_far(owner, paper_and_linter):
    paper, _ = paper_and_linter
    making = make_making()
    assert origins([making], owner) == []
    log.start(making, by=owner)
    log.issue(making, paper, as_is_mg=KG, by=owner)
    assert drawn(origin(making, owner)) == {paper.ref: KG}


def test_making_given_up_used_nothing(owner, paper_and_linter):
    paper, _ = paper_and_linter
    making = make_making()
    log.start(making, by=owner)
    log.issue(making, paper, as_is_mg=KG, by=owner)
    making.refresh_from_db()
    making.state = "given up"
    making.save()
    assert origins([making], owner) == []
    assert became_of(Lot.objects.filter(pk=paper.pk), owner) == []


# --- permanence ---------------------------------------------------------------------------------


def test_linter_is_aimed_at_permanence_and_waste_paper_is_not(owner, paper_and_linter):
    paper, linter = paper_and_linter
    assert "Aimed at permanence, not tested" in origin(run([(linter, KG)]), owner).permanence
    assert "No claim of permanence" in origin(run([(paper, KG)]), owner).permanence


def test_waste_paper_in_the_broke_bars_the_claim_too(owner, paper_and_linter):
    paper, linter = paper_and_linter
    first = run([(paper, KG)], broke=(own_broke(), 500_000))
    found = origin(run([(first.broke_lot, 400_000), (linter, KG)]), owner)
    assert "No claim of permanence" in found.permanence


def test_broke_of_unknown_making_bars_the_claim_and_known_linter_broke_does_not(
    owner, paper_and_linter
):
    _, linter = paper_and_linter
    broke = own_broke()
    unknown = make_lot(broke)
    assert "No claim" in origin(run([(unknown, KG), (linter, KG)]), owner).permanence
    first = run([(linter, 500_000)], broke=(broke, 500_000))
    assert "Aimed" in origin(run([(first.broke_lot, 400_000)]), owner).permanence


def test_report_and_additions_stand_in_the_sentence(owner, paper_and_linter):
    _, linter = paper_and_linter
    making = make_making(test_report="R-17, 3 May 2026")
    log.start(making, by=owner)
    log.issue(making, linter, as_is_mg=KG, by=owner)
    log.dose(making, "Calcium carbonate", kind="filler", mass_mg=40_000, by=owner)
    assert origin(making, owner).permanence == (
        "Made with Linter and Calcium carbonate. Tested, see report R-17, 3 May 2026."
    )


# --- what became of it --------------------------------------------------------------------------


def test_lot_leads_to_makings_and_their_sheets(owner, paper_and_linter):
    paper, linter = paper_and_linter
    making = run([(paper, 3 * KG), (linter, KG)], good=240, retree=6)
    (one,) = became_of(Lot.objects.filter(source=paper.source), owner)
    assert (one.making, one.good, one.retree, one.lots) == (making, 240, 6, (paper,))
    # 2.280 kg of 2.280 + 0.9016 kg.
    assert one.share == Fraction(2_280_000, 3_181_600)
    assert not one.is_in_broke_alone


def test_lot_is_followed_through_broke(owner, paper_and_linter):
    paper, linter = paper_and_linter
    first = run([(paper, 3 * KG)], broke=(own_broke(), KG), finished_on=day(3))
    second = run([(first.broke_lot, KG), (linter, KG)], good=50, finished_on=day(1))
    newest, oldest = became_of(Lot.objects.filter(pk=paper.pk), owner)
    assert (newest.making, newest.is_in_broke_alone) == (second, True)
    # Broke 1 kg × 0.2 × 0.95 = 190 g beside 901.6 g of linter.
    assert newest.share == Fraction(190_000, 1_091_600)
    assert (oldest.making, oldest.share) == (first, 1)


def test_own_broke_and_what_came_of_it_are_counted_once(owner, paper_and_linter):
    paper, _ = paper_and_linter
    broke = own_broke()
    first = run([(paper, 3 * KG)], broke=(broke, KG))
    second = run([(first.broke_lot, KG)], broke=(broke, 500_000))
    third = run([(second.broke_lot, 400_000)])
    found = became_of(Lot.objects.filter(source__kind="studio"), owner)
    shares = {one.making: one.share for one in found}
    assert shares == {second: 1, third: 1}


def test_sheets_sent_or_spoilt_since_still_came_of_it(owner, paper_and_linter):
    paper, _ = paper_and_linter
    making = run([(paper, KG)], good=30, retree=0)
    entry = making.sheet_movements.get().entry
    making.sheet_movements.create(
        quality="good", kind="spoilt", sheets=-5, happened_on=day(), entry=entry
    )
    making.sheet_movements.create(
        quality="good", kind="corrected", sheets=-2, happened_on=day(), entry=entry
    )
    (one,) = became_of(Lot.objects.filter(pk=paper.pk), owner)
    assert (one.good, one.sheets) == (28, 28)


def test_viewer_is_not_told_who_gave_it(viewer, owner):
    shy = donor("Pellow & Tarn Surveyors")
    lot = make_lot(office(), shy)
    making = run([(lot, KG)])
    assert origin(making, viewer).drawn[0].lot.source_name == "A donor"
    assert origin(making, owner).drawn[0].lot.source_name == "Pellow & Tarn Surveyors"


def counted(act):
    with CaptureQueriesContext(connection) as found:
        act()
    return len(found)


def test_queries_do_not_grow_with_makings_lots_or_generations(owner, paper_and_linter):
    paper, linter = paper_and_linter
    broke = own_broke()
    making = run([(paper, KG), (linter, 100_000)], broke=(broke, 900_000))
    makings = [making]
    gifts = Lot.objects.filter(source=paper.source)

    def back():
        return counted(lambda: origins(makings, owner))

    def on():
        return counted(lambda: became_of(gifts, owner))

    back()  # The role of the reader is asked for once a request.
    few = (back(), on())
    for _ in range(6):
        other = make_lot(paper.fibre, paper.source)
        making = run([(making.broke_lot, 800_000), (other, KG)], broke=(broke, 900_000))
        makings.append(making)
    assert len(origins(makings, owner)) == 7
    assert len(became_of(gifts, owner)) == 7
    assert (back(), on()) == few


def test_nothing_asked_reads_nothing(owner, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert provenance.origins([], owner) == []


def test_share_of_every_making_comes_to_the_whole(owner, paper_and_linter):
    paper, linter = paper_and_linter
    making = run([(paper, 3 * KG), (paper, KG), (linter, 2 * KG)])
    found = origin(making, owner)
    assert sum(part.share for part in found.drawn) == 1
    assert found.statement.total_mg == sum(part.usable_mg for part in found.drawn)
    assert drawn(found)[paper.ref] == 4 * KG
    assert Decimal(found.drawn[0].share.numerator) > 0
