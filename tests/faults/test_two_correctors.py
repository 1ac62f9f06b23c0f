"""Two put right what hangs together at the same time: the second is held against the first."""

import pytest

from tests.faults.place import Place

pytestmark = pytest.mark.faults

MANY = 25


def test_a_making_never_keeps_more_than_went_in_whoever_puts_what_right(place: Place):
    place.run("makings_that_kept_broke", many=MANY)

    told = place.run_together(2, "put_right_both_ends")

    assert place.run("faults_of_the_book") == []
    # Of each making one of the two was first, and the other was refused.
    assert sum(told) == MANY
    assert place.unsound() == []


def test_a_receipt_is_not_put_right_while_the_count_that_did_is_posted(place: Place):
    told = place.run("put_right_while_counted")

    assert told == {"corrected": 0, "oven_dry_mg": 3_000_000}
    assert place.unsound() == []
