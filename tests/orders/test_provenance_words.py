"""What is said of provenance: the card, and what became of a gift."""

from datetime import date
from decimal import Decimal

import pytest

from fibres.models import Lot
from orders.provenance import became_of, origins
from orders.provenancewording import became_in_words, card, making_in_words, sheets_in_words
from tests.builders import KG, day, make_fibre, make_lot, make_making, make_sheet
from tests.orders.trails import a5_notes, donor, office, own_broke, run, school_and_linter

pytestmark = pytest.mark.django_db
MAY = date(2026, 5, 14)


def card_of(making, user):
    (found,) = origins([making], user)
    return card(found)


@pytest.fixture
def shed():
    """Return lots of H2: a school that may be named, surveyors who said no, and linter."""
    paper, linter = school_and_linter()
    shred = make_lot(
        office(name="Shredded office paper"),
        donor("Pellow & Tarn Surveyors"),
        as_is_mg=8 * KG,
        moisture="0.055",
    )
    return paper, linter, shred


def test_h2_card_names_the_school_and_not_the_surveyors(owner, viewer, shed):
    paper, linter, shred = shed
    making = run([(paper, 3_400_000), (shred, KG), (linter, 505_000)])
    for reader in (owner, viewer):
        words = card_of(making, reader)
        assert words.startswith(
            "From 3.40\u00a0kg of White office paper given by Nettlebank School and 1.00\u00a0kg "
            "of Shredded office paper given by a donor who is not named, with "
        )
        assert "Pellow" not in words


def test_card_gives_gifts_by_mass_and_the_rest_by_share(owner, shed):
    paper, linter, _ = shed
    # 2.584 kg of paper and 0.455308 kg of linter, usable: 85 and 15 %.
    words = card_of(run([(paper, 3_400_000), (linter, 505_000)]), owner)
    assert words.endswith("given by Nettlebank School, with 15\u00a0% Linter.")


def test_card_calls_broke_and_heel_the_studios_own(owner, shed):
    paper, linter, _ = shed
    first = run([(paper, 2 * KG)], broke=(own_broke(), KG), heel=(paper.fibre, KG))
    words = card_of(run([(first.broke_lot, KG), (first.heel_lot, KG), (linter, KG)]), owner)
    # Broke 1 kg × 0.2 × 0.95, heel 1 kg × 0.15 × 0.8: 310 g beside 901.6 g of linter.
    assert words == "Made with 74\u00a0% Linter and 26\u00a0% of our own broke."


def test_card_of_one_bought_fibre(owner, shed):
    _, linter, _ = shed
    assert card_of(run([(linter, KG)]), owner) == "All Linter."


def test_donor_who_takes_the_consent_back_is_not_named_any_more(owner, shed):
    paper, _, _ = shed
    making = run([(paper, KG)])
    assert "Nettlebank School" in card_of(making, owner)
    paper.source.may_be_named = False
    paper.source.save()
    assert "Nettlebank" not in card_of(making, owner)


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (237, "about 240 A5 sheets"),
        (100, "about 100 A5 sheets"),
        (48, "48 A5 sheets"),
        (1, "1 A5 sheet"),
    ],
)
def test_many_sheets_are_told_in_tens(count, words):
    assert sheets_in_words(count, a5_notes()) == words


def test_sheet_without_a_name_is_told_by_its_size():
    odd = make_sheet(width_um=130_000, height_um=181_000)
    assert sheets_in_words(12, odd) == "12 sheets of 130\u00a0×\u00a0181\u00a0mm"


def test_making_is_called_by_its_month():
    making = make_making(finished_on=MAY)
    assert making_in_words(making, date(2026, 11, 25)) == "the May making"
    assert making_in_words(making, date(2027, 1, 1)) == "the May 2026 making"
    assert making_in_words(make_making(ref="M-0900"), MAY) == "M-0900, which is not finished yet"


def test_gift_became_about_so_many_sheets_in_the_making_of_a_month(owner, shed):
    paper, linter, _ = shed
    making = run([(paper, KG), (linter, KG)], making=make_making(a5_notes()), good=233, retree=4)
    found = became_of(Lot.objects.filter(pk=paper.pk), owner)
    month = f"{making.finished_on:%B}"
    assert became_in_words(found, day()) == f"About 240 A5 sheets in the {month} making."


def test_what_came_by_way_of_broke_is_told_apart(owner, shed):
    paper, linter, _ = shed
    first = run([(paper, KG)], broke=(own_broke(), KG), good=20, retree=0)
    run([(first.broke_lot, KG), (linter, KG)], good=30, retree=0)
    words = became_in_words(became_of(Lot.objects.filter(pk=paper.pk), owner), day())
    # Two makings of one month are told by their days.
    when = f"{day().day} {day():%B}"
    assert words == (
        f"20 A5 sheets in the making of {when}. By way of broke or heel, 30 A5 sheets in the "
        f"making of {when}."
    )


def test_gift_that_lies_in_store_still_says_so(owner):
    lot = make_lot(make_fibre(preparation_yield=Decimal("0.9")))
    assert became_of(Lot.objects.filter(pk=lot.pk), owner) == []
    assert became_in_words([], day()) == "Nothing has been made of it yet."
