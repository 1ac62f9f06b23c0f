"""The store by the book: the ledger as written, corrections and counts put in their place."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fibres import services, stocktaking
from fibres.models import Lot, Movement
from orders import bookcosts
from orders.calc.covered import Answer, Cover, Pick
from studio.entries import enter
from studio.errors import StudioError
from tests.builders import KG, day, make_commission, make_fibre, make_lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def fibre():
    return make_fibre(name="Abaca sheet pulp")


def dry(lot_of, kg=10, **changes):
    """Receive so many kilograms without water, for a round price."""
    return make_lot(lot_of, as_is_mg=kg * KG, moisture="0", **changes)


def take(lot, kg, kind="issued"):
    return services.take_out(
        lot, as_is_mg=int(kg * KG), kind=kind, happened_on=day(), why="", by=None
    )


def only(way="fifo"):
    (found,) = bookcosts.read(way).books.values()
    return found


# --- by hand -----------------------------------------------------------------------------------


def test_what_is_taken_of_the_newer_lot_costs_what_the_older_did(fibre):
    # By hand: 10 kg for 100.00 and 10 kg for 200.00; 12 kg go: 100.00 and 2 kg at 20.00.
    dry(fibre, paid_minor=10_000)
    newer = dry(fibre, paid_minor=20_000)
    first, second = take(newer, 8), take(newer, 2)
    third = take(Lot.objects.exclude(pk=newer.pk).get(), 2)
    store = bookcosts.read("fifo")
    costs = [store.out_of(one.pk, one.lot.ref).minor for one in (first, second, third)]
    assert costs == [8_000, 2_000, 4_000]
    assert only().value_minor == 16_000


def test_on_average_the_same_goes_at_one_price(fibre):
    # By hand: 300.00 for 20 kg is 15.00.
    dry(fibre, paid_minor=10_000)
    newer = dry(fibre, paid_minor=20_000)
    taken = take(newer, 8)
    assert bookcosts.read("average").out_of(taken.pk, newer.ref).minor == 12_000
    assert only("average").value_minor == 18_000


def test_each_fibre_has_a_book_of_its_own(fibre):
    lot, other = dry(fibre, paid_minor=10_000), dry(make_fibre(), paid_minor=50_000)
    taken = take(lot, 5)
    store = bookcosts.read("average")
    assert store.out_of(taken.pk, lot.ref).minor == 5_000
    (found,) = store.by_fibre()[other.fibre_id]
    assert found.value_minor == 50_000


def test_a_lot_that_a_commission_names_is_costed_by_itself(fibre):
    # Specific identification: 1 kg of the named lot is 20.00, whatever came first.
    dry(fibre, paid_minor=10_000)
    named = dry(fibre, paid_minor=20_000)
    make_commission().only_lots.add(named)
    taken = take(named, 1)
    store = bookcosts.read("fifo")
    assert store.out_of(taken.pk, named.ref).minor == 2_000
    assert sorted(book.value_minor for book in store.books.values()) == [10_000, 18_000]


def test_an_issue_that_was_put_right_counts_as_if_it_had_been_right(fibre):
    # By hand: 4 kg at 10.00, entered as 8; what went after it is what would have gone after 4.
    first = dry(fibre, paid_minor=10_000)
    wrong = take(first, 8)
    later = dry(fibre, paid_minor=30_000)
    after = take(later, 8)
    services.correct(wrong, as_is_mg=4 * KG, happened_on=day(), why="misread", by=None)
    store = bookcosts.read("fifo")
    right = Movement.objects.get(kind="issued", oven_dry_mg=-4 * KG)
    assert store.out_of(right.pk, first.ref).minor == 4_000
    assert store.out_of(wrong.pk, first.ref).minor == 0
    # 6 kg of the first at 10.00 and 2 kg of the second at 30.00.
    assert store.out_of(after.pk, later.ref).minor == 12_000


def test_a_receipt_that_never_came_costs_nothing(fibre):
    lot = dry(fibre, paid_minor=10_000)
    services.correct(lot.movements.get(), as_is_mg=0, happened_on=day(), why="sent back", by=None)
    assert bookcosts.read("fifo").books == {}


def test_a_receipt_that_was_put_right_spreads_what_was_paid(fibre):
    # By hand: 100.00 for 5 kg and not for 10; 1 kg of it is 20.00.
    lot = dry(fibre, paid_minor=10_000)
    services.correct(lot.movements.get(), as_is_mg=5 * KG, happened_on=day(), why="label", by=None)
    taken = take(lot, 1)
    assert bookcosts.read("fifo").out_of(taken.pk, lot.ref).minor == 2_000


def test_what_a_test_found_to_be_water_was_never_paid_for_by_the_kilogram(fibre):
    # By hand: 100.00 for 10 kg as is, taken to be dry; a fifth is water, so 8 kg at 12.50.
    lot = dry(fibre, paid_minor=10_000)
    services.weigh_moisture(
        lot, wet_mg=100_000, dry_mg=80_000, tare_mg=0, tested_on=day(), by=None
    )
    lot.refresh_from_db()
    taken = take(lot, 5)
    # 5 kg as is at 20 % are 4 kg.
    assert bookcosts.read("fifo").out_of(taken.pk, lot.ref).minor == 5_000


def test_what_a_count_misses_leaves_at_its_cost_and_makes_the_rest_no_dearer(fibre):
    lot = dry(fibre, paid_minor=10_000, place="Shelf")
    count = stocktaking.begin("Shelf", by=None)
    stocktaking.count_lot(count, lot, as_is_mg=9 * KG, reason="spilt", note="torn bag", by=None)
    stocktaking.post(count, by=None)
    assert (only().held_mg, only().value_minor) == (9 * KG, 9_000)
    lot.refresh_from_db()
    assert lot.oven_dry_mg == 9 * KG


def test_a_gift_is_worth_nothing_and_a_lot_without_a_price_is_told(fibre):
    dry(fibre, paid_minor=0)
    dry(fibre)
    assert (only().value_minor, only().unpriced_mg) == (0, 10 * KG)


def test_the_book_is_read_in_three_queries_however_much_there_is(fibre, django_assert_num_queries):
    for number in range(6):
        take(dry(fibre, paid_minor=1_000 * number), 1)
    with django_assert_num_queries(3):
        bookcosts.read("fifo")
    with django_assert_num_queries(3):
        bookcosts.read("average", [fibre.pk])


# --- what goes before --------------------------------------------------------------------------


def answer(ref, due, *picks):
    taken = tuple(Pick(lot, "abaca", mg, mg, mg) for lot, mg in picks)
    return Answer(ref, due, 10, "covered", 10, None, 100, (), taken)


def test_promises_that_need_their_fibre_sooner_take_theirs_first():
    sooner, later = date(2027, 1, 5), date(2027, 2, 5)
    cover = Cover(
        sooner,
        (
            answer("C-1", later, ("L1", 5)),
            answer("C-2", sooner, ("L1", 7), ("L2", 1)),
            answer("C-3", sooner, ("L1", 2)),
        ),
        (),
        0,
    )
    assert bookcosts.ahead_of(cover, "C-2") == {}
    assert bookcosts.ahead_of(cover, "C-3") == {"L1": 7, "L2": 1}
    assert bookcosts.ahead_of(cover, "C-1") == {"L1": 9, "L2": 1}
    assert bookcosts.ahead_of(cover, "C-9") == {}


def test_set_aside_fibre_costs_what_is_left_after_those_before_it(fibre):
    # By hand: 8 kg of the first 10 go before; 4 kg are 2 at 10.00 and 2 at 20.00.
    first = dry(fibre, paid_minor=10_000)
    dry(fibre, paid_minor=20_000)
    store = bookcosts.read("fifo")
    pieces = store.next_out({first.ref: 4 * KG}, ahead={first.ref: 8 * KG, "P-001/1": KG})
    assert sum(piece.minor for piece in pieces) == 6_000


# --- property ----------------------------------------------------------------------------------

ACTS = st.lists(
    st.tuples(
        st.sampled_from(["receive", "issued", "discarded", "correct", "count", "test"]),
        st.integers(0, 5),
        st.integers(1, 100),
        st.one_of(st.none(), st.integers(0, 500_000)),
    ),
    min_size=1,
    max_size=14,
)


def act(kind, which, percent, paid, fibre):
    """Do one thing to the store, as far as it may be done."""
    lots = list(Lot.objects.order_by("pk"))
    if kind == "receive" or not lots:
        make_lot(fibre, as_is_mg=percent * 100_000, moisture="0.1", paid_minor=paid)
        return
    lot = lots[which % len(lots)]
    try:
        if kind in {"issued", "discarded"}:
            take(lot, Fraction(lot.oven_dry_mg * percent, 100 * KG), kind)
        elif kind == "correct":
            movements = lot.movements.filter(as_is_mg__isnull=False).order_by("pk")
            movement = movements[which % movements.count()]
            right = abs(movement.as_is_mg) * percent // 100
            services.correct(movement, as_is_mg=right, happened_on=day(), why="", by=None)
        elif kind == "count":
            entry = enter("count", "Counted", page="/", key=None, by=None)
            change = lot.oven_dry_mg * (percent - 60) // 100
            if change:
                from fibres import ledger

                ledger.post(lot, "counted", change, happened_on=day(), entry=entry)
        else:
            services.weigh_moisture(
                lot, wet_mg=100_000, dry_mg=95_000 - percent * 200, tare_mg=0,
                tested_on=day(), by=None,
            )  # fmt: skip
    except StudioError:
        return


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(acts=ACTS, way=st.sampled_from(["fifo", "average"]))
def test_whatever_is_done_cost_in_is_cost_out_and_cost_in_store(acts, way):
    with transaction.atomic():
        fibre = make_fibre()
        for one in acts:
            act(*one, fibre)
        books = list(bookcosts.read(way).books.values())
        held = sum(Lot.objects.values_list("oven_dry_mg", flat=True))
        assert sum(book.held_mg for book in books) == held
        for book in books:
            assert book.in_minor == book.out_minor + book.value_minor
        paid = Lot.objects.filter(received_oven_dry_mg__gt=0, paid_minor__isnull=False)
        bought = Decimal(sum(paid.values_list("paid_minor", flat=True)))
        assert sum(book.in_minor for book in books) >= bought
        transaction.set_rollback(True)
