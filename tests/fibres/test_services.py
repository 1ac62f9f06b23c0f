import datetime
import uuid
from decimal import Decimal

import pytest

from fibres import services
from fibres.calc.scrap import from_guess, from_weight
from fibres.models import Lot, Movement, Source
from studio.entries import AlreadyEnteredError
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry
from studio.units import Q
from tests.builders import KG, day, make_fibre, make_lot, make_source

pytestmark = pytest.mark.django_db
Kind = Movement.Kind
KEY = uuid.UUID("6f2c2b3e-8a1d-4a8e-9a51-0d2f6f0c7b11")


def fresh(lot):
    return Lot.objects.get(pk=lot.pk)


def take(lot, as_is_mg, **changes):
    given = {
        "as_is_mg": as_is_mg,
        "kind": Kind.ISSUED,
        "happened_on": day(),
        "why": "for the vat",
        "by": None,
    }
    return services.take_out(lot, **{**given, **changes})


def weigh(lot, wet_mg, dry_mg, **changes):
    given = {"tare_mg": 0, "tested_on": day(), "by": None}
    return services.weigh_moisture(lot, wet_mg=wet_mg, dry_mg=dry_mg, **{**given, **changes})


def correct(movement, as_is_mg, **changes):
    given = {"as_is_mg": as_is_mg, "happened_on": day(), "why": "misread scale", "by": None}
    return services.correct(movement, **{**given, **changes})


def sum_of_movements(lot):
    return sum(lot.movements.values_list("oven_dry_mg", flat=True))


# --- receive -----------------------------------------------------------------------------------


def test_received_lot_holds_its_oven_dry_fibre(owner):
    lot = make_lot(as_is_mg=10 * KG, moisture="0.08", by=owner)
    movement = lot.movements.get()
    # By hand: 10 kg × (1 − 0.08) = 9.2 kg.
    assert (lot.oven_dry_mg, lot.received_oven_dry_mg) == (9_200_000, 9_200_000)
    assert (movement.kind, movement.oven_dry_mg) == (Kind.RECEIVED, 9_200_000)
    assert (movement.as_is_mg, movement.moisture) == (10 * KG, Decimal("0.08"))
    assert movement.entry.by == owner
    assert movement.entry.page == lot.get_absolute_url()


def test_lots_are_numbered_in_one_series_with_the_letters_of_their_fibre():
    first, second = make_lot(make_fibre(code="KO")), make_lot(make_fibre(code="CL"))
    assert first.ref.startswith("KO-")
    assert second.ref.startswith("CL-")
    assert int(second.ref[3:]) == int(first.ref[3:]) + 1


def test_refused_lot_uses_up_no_number():
    before = int(make_lot().ref[3:])
    with pytest.raises(RangeError):
        make_lot(as_is_mg=1, moisture="0.9")
    assert int(make_lot().ref[3:]) == before + 1


def test_same_key_enters_one_lot():
    fibre, source = make_fibre(), make_source()
    receipt = services.Receipt(fibre, source, KG, Decimal("0.08"), day(1))
    lot = services.receive(receipt, by=None, key=KEY)
    with pytest.raises(AlreadyEnteredError) as told:
        services.receive(receipt, by=None, key=KEY)
    assert told.value.entry.page == lot.get_absolute_url()
    assert Lot.objects.count() == 1


def test_fibre_that_is_refused_at_the_door_is_not_received():
    glossy = make_fibre(name="Glossy magazines", is_refused=True, refusals="Coated and inked.")
    with pytest.raises(StudioError, match=r"Glossy magazines is refused .*Coated and inked"):
        make_lot(glossy)
    assert not Lot.objects.exists()
    assert not Entry.objects.exists()


def test_lot_that_holds_no_fibre_is_refused():
    with pytest.raises(RangeError, match="holds no fibre"):
        make_lot(as_is_mg=0)


def test_day_to_come_is_refused_and_leaves_no_lot():
    with pytest.raises(RangeError, match="has not come yet"):
        make_lot(received_on=day(-2))
    assert not Lot.objects.exists()


def test_wet_lot_is_to_be_used_while_it_keeps():
    pulp = make_fibre(keeps_wet_days=10)
    arrived = day(3)
    assert make_lot(pulp, received_on=arrived, is_wet=True).keep_until == arrived + (
        datetime.timedelta(days=10)
    )
    assert make_lot(pulp, received_on=arrived).keep_until is None


def test_sorting_time_is_the_fibres_usual_one_unless_it_was_clocked():
    rag = make_fibre(sorting_minutes_per_kg=Decimal("4.5"))
    # By hand: 2.5 kg × 4.5 minutes = 11.25 minutes.
    assert make_lot(rag, as_is_mg=2_500_000).sorting_minutes == Decimal("11.25")
    assert make_lot(rag, sorting_minutes=Decimal(30)).sorting_minutes == 30


# --- log scrap ---------------------------------------------------------------------------------


def log(estimate, **changes):
    given = {
        "donor": "Mill Lane School",
        "fibre": make_fibre(is_scrap=True, code="SC"),
        "moisture": Decimal("0.06"),
        "received_on": day(),
        "by": None,
    }
    return services.log_scrap(estimate, **{**given, **changes})


def test_scrap_becomes_a_lot_of_its_own_for_nothing():
    lot = log(from_weight(Q(8, "kg")))
    # By hand: 8 kg × 0.94 = 7.52 kg.
    assert lot.oven_dry_mg == 7_520_000
    assert (lot.paid_minor, lot.moisture_known) == (0, Lot.MoistureKnown.ASSUMED)
    assert (lot.source.name, lot.source.kind) == ("Mill Lane School", Source.Kind.DONOR)


def test_guess_keeps_its_band():
    lot = log(from_guess(Q(8, "kg")))
    assert lot.measured == Lot.Measured.GUESS
    assert lot.band > 0


def test_donor_is_found_again_however_the_name_is_spaced_and_cased():
    first, second = (
        log(from_weight(Q(1, "kg"))),
        log(from_weight(Q(1, "kg")), donor="  mill LANE   school "),
    )
    assert first.source == second.source


def test_gift_without_a_name_is_an_anonymous_drop():
    assert log(from_weight(Q(1, "kg")), donor="  ").source.name == "Anonymous drop"


def test_supplier_is_not_taken_for_a_donor():
    make_source(name="Tidewater Fibres", kind=Source.Kind.SUPPLIER)
    with pytest.raises(StudioError, match="Tidewater Fibres is in the book as a supplier"):
        log(from_weight(Q(1, "kg")), donor="tidewater fibres")
    assert not Lot.objects.exists()


def test_same_gift_sent_twice_is_one_lot():
    fibre = make_fibre()
    log(from_weight(Q(1, "kg")), fibre=fibre, key=KEY)
    with pytest.raises(AlreadyEnteredError):
        log(from_weight(Q(1, "kg")), fibre=fibre, key=KEY)
    assert Lot.objects.count() == 1


# --- take out ----------------------------------------------------------------------------------


def test_taking_out_takes_off_the_water():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.08")
    movement = take(lot, KG)
    # By hand: 1 kg as is × 0.92 = 0.92 kg oven-dry, of 9.2 kg.
    assert (movement.oven_dry_mg, movement.as_is_mg) == (-920_000, -KG)
    assert fresh(lot).oven_dry_mg == 8_280_000


@pytest.mark.parametrize("moisture", ["0", "0.08", "0.333333", "0.5", "0.123457", "0.85"])
@pytest.mark.parametrize("as_is_mg", [10 * KG, 9_999_999, 3_333_331])
def test_whole_lot_leaves_exactly_nothing(as_is_mg, moisture):
    lot = make_lot(as_is_mg=as_is_mg, moisture=moisture)
    take(lot, as_is_mg)
    assert fresh(lot).oven_dry_mg == 0


def test_more_than_is_there_is_refused_with_both_amounts():
    lot = make_lot(as_is_mg=10 * KG)
    with pytest.raises(NotEnoughError, match=r"holds 10\.00.kg as is and 12\.00.kg is asked for"):
        take(lot, 12 * KG)
    assert fresh(lot).oven_dry_mg == 9_200_000
    assert not Entry.objects.filter(act="take out").exists()


def test_empty_lot_gives_nothing():
    lot = make_lot(as_is_mg=KG)
    take(lot, KG)
    with pytest.raises(NotEnoughError):
        take(lot, 1000)


@pytest.mark.parametrize("kind", [Kind.RECEIVED, Kind.COUNTED, Kind.RETURNED, Kind.CORRECTED])
def test_fibre_leaves_by_issue_or_discard_alone(kind):
    with pytest.raises(StudioError, match="leaves the store issued or discarded"):
        take(make_lot(), KG, kind=kind)


def test_same_key_takes_out_once():
    lot = make_lot()
    take(lot, KG, key=KEY)
    with pytest.raises(AlreadyEnteredError):
        take(lot, KG, key=KEY)
    assert fresh(lot).oven_dry_mg == 8_280_000


# --- moisture ----------------------------------------------------------------------------------


def test_wrong_figure_in_the_book_corrects_the_oven_dry_fibre():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.08")
    test = weigh(lot, 50_000, 45_000)
    # By hand: (50 − 45) / 50 = 10 %; 10 kg × 0.90 = 9 kg, 0.2 kg less than was believed.
    assert test.moisture == Decimal("0.1")
    found = fresh(lot)
    assert (found.moisture, found.oven_dry_mg) == (Decimal("0.1"), 9 * KG)
    assert (found.received_oven_dry_mg, found.moisture_known) == (9 * KG, "weighed")
    last = lot.movements.last()
    assert (last.kind, last.oven_dry_mg, last.as_is_mg) == (Kind.CORRECTED, -200_000, None)


def test_lot_that_dried_keeps_its_oven_dry_fibre():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.2")
    weigh(lot, 50_000, 45_000, has_dried=True)
    found = fresh(lot)
    assert (found.moisture, found.oven_dry_mg) == (Decimal("0.1"), 8 * KG)
    assert lot.movements.count() == 1
    assert found.received_oven_dry_mg == 8 * KG


def test_dish_is_taken_off_both_weights():
    # By hand: (60 − 56) / (60 − 10) = 8 %.
    assert weigh(make_lot(), 60_000, 56_000, tare_mg=10_000).moisture == Decimal("0.08")


def test_test_that_finds_what_was_known_moves_nothing():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.1")
    weigh(lot, 50_000, 45_000)
    assert lot.movements.count() == 1


def test_after_some_was_used_only_what_is_left_is_corrected():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.08")
    take(lot, 5 * KG)
    weigh(lot, 50_000, 45_000)
    # By hand: 5 kg as is are left; 4.6 kg were believed, 4.5 kg are there.
    assert fresh(lot).oven_dry_mg == 4_500_000


def test_more_fibre_than_came_in_is_refused_in_a_sentence():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.02")
    weigh(lot, 100_000, 90_000, has_dried=True)
    with pytest.raises(RangeError, match="would hold more fibre than it weighed when it came"):
        weigh(lot, 100_000, 99_000)
    assert fresh(lot).oven_dry_mg == 9_800_000


@pytest.mark.parametrize("has_dried", [True, False])
def test_sample_that_is_all_water_is_refused(has_dried):
    lot = make_lot()
    with pytest.raises(RangeError, match="all water"):
        weigh(lot, 10_000_000, 1, has_dried=has_dried)
    assert fresh(lot).moisture == Decimal("0.08")


@pytest.mark.parametrize(
    ("wet", "dry", "tare", "why"),
    [
        (45_000, 50_000, 0, "must not weigh more than the wet one"),
        (50_000, 45_000, 45_000, "tare must be from 0 g up to"),
    ],
)
def test_sample_that_cannot_be_is_refused(wet, dry, tare, why):
    with pytest.raises(RangeError, match=why):
        weigh(make_lot(), wet, dry, tare_mg=tare)


def test_same_key_tests_once():
    lot = make_lot()
    weigh(lot, 50_000, 45_000, key=KEY)
    with pytest.raises(AlreadyEnteredError):
        weigh(lot, 50_000, 40_000, key=KEY)
    assert lot.moisture_tests.count() == 1


# --- correct -----------------------------------------------------------------------------------


def test_correction_is_a_reversal_and_the_right_entry():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.08")
    wrong = take(lot, 2 * KG)
    back, right = correct(wrong, KG)
    assert (back.reverses, back.oven_dry_mg) == (wrong, 1_840_000)
    assert (right.kind, right.oven_dry_mg, right.as_is_mg) == (Kind.ISSUED, -920_000, -KG)
    assert back.entry == right.entry
    # By hand: 9.2 − 0.92 = 8.28 kg.
    assert fresh(lot).oven_dry_mg == sum_of_movements(lot) == 8_280_000


def test_what_never_moved_is_taken_back_alone():
    lot = make_lot()
    wrong = take(lot, 2 * KG)
    assert [movement.reverses for movement in correct(wrong, 0)] == [wrong]
    assert fresh(lot).oven_dry_mg == 9_200_000


def test_corrected_receipt_changes_what_came():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.08")
    correct(lot.movements.get(), 12 * KG)
    found = fresh(lot)
    # By hand: 12 kg × 0.92 = 11.04 kg.
    assert (found.as_is_mg, found.received_oven_dry_mg) == (12 * KG, 11_040_000)
    assert found.oven_dry_mg == sum_of_movements(lot) == 11_040_000


def test_receipt_is_corrected_although_part_of_it_is_used():
    lot = make_lot(as_is_mg=10 * KG, moisture="0")
    take(lot, 6 * KG)
    correct(lot.movements.first(), 7 * KG)
    assert fresh(lot).oven_dry_mg == KG


def test_receipt_is_not_corrected_to_less_than_was_used():
    lot = make_lot(as_is_mg=10 * KG, moisture="0")
    take(lot, 6 * KG)
    with pytest.raises(NotEnoughError, match="would hold less than nothing"):
        correct(lot.movements.first(), 5 * KG)
    found = fresh(lot)
    assert (found.oven_dry_mg, found.as_is_mg) == (4 * KG, 10 * KG)


def test_entry_is_corrected_once():
    lot = make_lot()
    wrong = take(lot, 2 * KG)
    correct(wrong, KG)
    with pytest.raises(StudioError, match="taken back already"):
        correct(wrong, 3 * KG)
    assert fresh(lot).oven_dry_mg == 8_280_000


def test_same_key_corrects_once():
    lot = make_lot()
    wrong = take(lot, 2 * KG)
    correct(wrong, KG, key=KEY)
    with pytest.raises(AlreadyEnteredError):
        correct(wrong, KG, key=KEY)
