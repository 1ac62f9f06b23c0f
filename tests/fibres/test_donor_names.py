"""A donor who may not be named stays unnamed in what is written, and under an older name."""

import pytest

from fibres import lotbook, services
from fibres.lotbook import without_donor
from fibres.models import Movement, Source
from studio.errors import StudioError
from tests.builders import KG, day, make_lot, make_source
from tests.fibres.pages import see, told

pytestmark = pytest.mark.django_db


@pytest.fixture
def shy(db):
    return make_source(name="Quarry Hill School", kind="donor")


@pytest.fixture
def gift(shy):
    lot = make_lot(source=shy, remarks="Brought by QUARRY  hill school; staples.")
    services.take_out(
        lot,
        as_is_mg=KG,
        kind=Movement.Kind.ISSUED,
        happened_on=day(),
        why="Trial for quarry hill school",
        by=None,
    )
    return lot


def test_name_that_a_donor_had_before_is_not_kept_in_the_book(
    shy, gift, viewer_client, hand_client
):
    shy.name = "Hill House"
    shy.save()
    assert "Received from Hill House" in told(see(hand_client, gift.get_absolute_url()))
    words = told(see(viewer_client, gift.get_absolute_url()))
    assert "Received from a donor" in words
    assert "from quarry" not in words.lower()
    assert not gift.movements.filter(why__icontains="quarry hill", kind="received").exists()


def test_name_frozen_in_an_older_entry_is_not_shown():
    # As the book was kept before: the donor's name of that day stands in the movement.
    lot = make_lot(source=make_source(name="Hill House", kind="donor"))
    line = lot.movements.get()
    line.why = "From Quarry Hill School"
    (shown,) = lotbook.book_of([line], [], source_name="A donor", hidden_name="Hill House")
    assert shown.what == "Received from a donor"
    (named,) = lotbook.book_of([line], [], source_name="Hill House")
    assert named.what == "Received from Hill House"


def test_why_and_remarks_name_no_donor_to_a_viewer(gift, viewer_client, hand_client):
    words = told(see(viewer_client, gift.get_absolute_url()))
    assert "quarry" not in words.lower()
    assert "Issued. Trial for a donor" in words
    assert "Brought by a donor; staples." in words
    by_hand = told(see(hand_client, gift.get_absolute_url()))
    assert "Trial for quarry hill school" in by_hand
    assert "Brought by QUARRY hill school; staples." in by_hand


def test_corrected_receipt_says_why_and_not_from_whom(gift, viewer_client, owner):
    received = gift.movements.first()
    services.correct(received, as_is_mg=9 * KG, happened_on=day(), why="From the label", by=owner)
    words = told(see(viewer_client, gift.get_absolute_url()))
    assert "Received. From the label" in words


def test_name_with_signs_of_its_own_is_found_as_it_is_spelled():
    assert without_donor("For a+b (Ltd) and A+B (LTD).", "A+B (Ltd)") == (
        "For a donor and a donor."
    )
    assert without_donor("For the mill", "") == "For the mill"


@pytest.mark.parametrize(
    ("kind", "closed", "sentence"),
    [
        ("donor", True, "Hill House is closed: open it again under Sources"),
        ("supplier", False, "Hill House is in the book as a supplier"),
        ("supplier", True, "Hill House is in the book as a supplier"),
    ],
)
def test_gift_of_a_closed_donor_or_a_supplier_is_refused(kind, closed, sentence):
    make_source(name="Hill House", kind=kind, closed_on=day() if closed else None)
    with pytest.raises(StudioError, match=sentence):
        services.donor_named("  hill HOUSE ")
    assert Source.objects.count() == 1
