"""Lists of the store: what a row becomes, what is refused, what a second file of it does."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from fibres.audit import audit
from fibres.exchange import FibreList, LotList, ScrapList, SourceList
from fibres.models import Fibre, Lot, Movement, Source
from fibres.services import Receipt, receive
from studio.files.lists import ListFaultsError
from studio.files.taking import SameListError
from studio.models import Counter, Entry, Studio
from tests.builders import KG, make_fibre, make_lot, make_source, make_studio
from tests.exchange import TURN, take, text_of

pytestmark = pytest.mark.django_db

LOT = {
    "fibre": "Abaca", "source": "Yard", "received": "2026-03-14", "mass (kg)": "10",
    "moisture (%)": "10",
}  # fmt: skip
GIFT = {"donor": "Quarry School", "class": "Office paper", "received": "2026-03-14"}


@pytest.fixture
def store():
    make_studio(currency="GBP")
    return make_fibre(name="Abaca", code="AB"), make_source(name="Yard")


@pytest.fixture
def scrap():
    make_studio(currency="GBP")
    return make_fibre(
        name="Office paper", code="OW", is_scrap=True, usual_moisture=Decimal("0.05"),
        sorting_minutes_per_kg=Decimal("6"),
    )  # fmt: skip


def faults(flist, content):
    """Return what a refused list says; nothing may be written."""
    before = Lot.objects.count(), Movement.objects.count(), Entry.objects.count()
    with pytest.raises(ListFaultsError) as refusal:
        take(flist, content)
    assert (Lot.objects.count(), Movement.objects.count(), Entry.objects.count()) == before
    return [str(fault) for fault in refusal.value.faults]


# --- lots -------------------------------------------------------------------------------------


@pytest.mark.parametrize("label", ["Total", "TOTALS:", "Sum", "In all"])
def test_sums_under_a_list_are_one_fault_of_their_row(store, label):
    rows = text_of({"ref": "", **LOT}, {"ref": label, "mass (kg)": "10"})
    said = "Row 3: This looks like the sums of the list. Take the row out."
    assert faults(LotList(), rows) == [said]


def test_faults_of_a_row_stand_in_the_order_of_its_cells(store):
    row = {"mass (kg)": "x", "received": "y", "source": "z", "fibre": "q"}
    told = [one.partition(":")[0] for one in faults(LotList(), row)]
    assert told == ["Row 2, mass", "Row 2, received", "Row 2, source", "Row 2, fibre"]


def test_day_and_amount_are_shown_before_they_are_entered(store):
    # A spreadsheet that turned day and month round, or dropped a comma, is found out here.
    lots = LotList()
    found = take(lots, {**LOT, "paid (GBP)": "94,00"}, dry_run=True)
    words = lots.words(found.changes[0], Studio.current())
    assert words.endswith(" moisture, came 14 Mar 2026, paid £94.00")
    gifts = take(lots, LOT, dry_run=True)
    assert lots.words(gifts.changes[0], Studio.current()).endswith("came 14 Mar 2026")


def test_a_lot_of_that_number_is_a_lot(store):
    take(LotList(), {**LOT, "ref": "Total"})
    assert Lot.objects.get().ref == "Total"


def test_row_becomes_the_lot_that_receiving_it_makes(store):
    fibre, source = store
    take(LotList(), LOT)
    listed = Lot.objects.get()
    received = receive(Receipt(fibre, source, 10 * KG, Decimal("0.1"), date(2026, 3, 14)), by=None)
    unlike = {"id", "ref"}
    for field in Lot._meta.concrete_fields:
        if field.attname not in unlike:
            assert getattr(listed, field.attname) == getattr(received, field.attname), field
    one, other = listed.movements.get(), received.movements.get()
    for name in ("kind", "oven_dry_mg", "as_is_mg", "moisture", "happened_on", "why"):
        assert getattr(one, name) == getattr(other, name), name
    assert (listed.ref, received.ref) == ("AB-0001", "AB-0002")
    assert Entry.objects.filter(act="take in lots").count() == 1


def test_what_is_left_is_entered_as_a_count(store):
    take(LotList(), {**LOT, "left as is (kg)": "4"})
    lot = Lot.objects.get()
    came, counted = lot.movements.all()
    assert (came.kind, came.oven_dry_mg) == ("received", 9 * KG)
    assert (counted.kind, counted.oven_dry_mg) == ("counted", -5_400_000)
    assert counted.happened_on == timezone.localdate()
    assert lot.oven_dry_mg == 3_600_000
    assert audit().faults == []


def test_nothing_left_and_more_left_than_reckoned_are_both_counts(store):
    take(
        LotList(),
        text_of({**LOT, "left oven-dry": "0 kg"}, {**LOT, "left oven-dry": "9.5 kg"}),
    )
    assert [lot.oven_dry_mg for lot in Lot.objects.all()] == [0, 9_500_000]
    assert audit().faults == []


def test_every_column_of_a_lot_is_kept(store):
    row = {
        **LOT, "ref": "B-7", "moisture known": "weighed", "form": "Dry sheet",
        "place": "Shelf B2", "measured": "guess", "either way (%)": "20",
        "preparation yield (%)": "90", "keep until": "2026-04-01", "paid (GBP)": "94,50",
        "sorting minutes": "12.5", "private papers": "yes", "remarks": "=1+1",
        "closed": "2026-05-01", "left as is (kg)": "0",
    }  # fmt: skip
    take(LotList(), row)
    lot = Lot.objects.get()
    assert (lot.ref, lot.moisture_known, lot.form, lot.place) == (
        "B-7", "weighed", "Dry sheet", "Shelf B2",
    )  # fmt: skip
    assert (lot.measured, lot.band, lot.preparation_yield) == (
        "guess", Decimal("0.2"), Decimal("0.9"),
    )  # fmt: skip
    assert (lot.keep_until, lot.paid_minor, lot.sorting_minutes) == (
        date(2026, 4, 1), 9450, Decimal("12.5"),
    )  # fmt: skip
    assert (lot.is_confidential, lot.remarks, lot.closed_on) == (True, "=1+1", date(2026, 5, 1))


def test_numbers_of_ones_own_and_next_ones_never_meet(store):
    take(LotList(), text_of({"ref": "AB-0005", **LOT}, {"ref": "", **LOT, "mass (kg)": "5"}))
    assert [lot.ref for lot in Lot.objects.all()] == ["AB-0005", "AB-0006"]
    assert make_lot(store[0]).ref == "AB-0007"
    assert Counter.objects.get(name="lot").last == 7
    # A number that is a day is no number to count on from.
    take(LotList(), {"ref": "AB-20260314", **LOT})
    assert make_lot(store[0]).ref == "AB-0008"


def test_place_is_spelled_as_it_was_first(store):
    make_lot(store[0], place="Shelf B2")
    take(LotList(), text_of({**LOT, "place": " shelf  b2"}, {**LOT, "place": "Loft"},
                            {**LOT, "place": "LOFT"}))  # fmt: skip
    assert set(Lot.objects.values_list("place", flat=True)) == {"Shelf B2", "Loft"}


def test_usual_moisture_stands_in_and_is_said_to_be_assumed(store):
    Fibre.objects.update(usual_moisture=Decimal("0.12"))
    take(LotList(), {name: text for name, text in LOT.items() if name != "moisture (%)"})
    lot = Lot.objects.get()
    assert (lot.moisture, lot.moisture_known) == (Decimal("0.12"), "assumed")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"fibre": "Abacca"}, "Row 2, fibre: No fibre is called “Abacca”. Near it: Abaca."),
        ({"fibre": "Till rolls"}, "Row 2, fibre: Till rolls is refused at the door: Bisphenol."),
        ({"source": "Qx"}, "Row 2, source: No source is called “Qx”. Enter the source first."),
        ({"received": ""}, "Row 2, received: Nothing stands here. Give a day, such as 2026-03-14"),
        ({"received": "2099-01-01"}, "Row 2, received: That day has not come yet."),
        ({"mass (kg)": "0"}, "Row 2, mass: “0” is outside what is allowed"),
        ({"moisture (%)": "100"}, "Row 2, moisture: Give less than 100 %"),
        ({"left as is (kg)": "11", "moisture (%)": "0"}, "Row 2, left as is: 11.00"),
        ({"left as is (kg)": "1", "left oven-dry": "1 kg"}, "Row 2, left oven-dry: Give what"),
        ({"ref": "a b"}, "Row 2, ref: “a b” is no number of ours"),
        ({"ref": "ab-0001"}, "Row 2, ref: Lot AB-0001 is there already with another mass."),
        ({"place": "x" * 41}, "Row 2, place: Give at most 40 characters; this has 41."),
        ({"mass (kg)": "0.000001", "moisture (%)": "90"}, "Row 2, mass: "),
    ],
)
def test_faulty_row_of_lots_is_named(store, change, said):
    make_fibre(name="Till rolls", is_refused=True, refusals="Bisphenol.")
    make_lot(*store, as_is_mg=3 * KG, received_on=date(2026, 3, 14))
    assert any(line.startswith(said) for line in faults(LotList(), {**LOT, **change})), said


def test_number_twice_in_a_list_is_a_fault_of_the_second(store):
    rows = text_of({"ref": "B-1", **LOT}, {"ref": "b-1", **LOT})
    assert faults(LotList(), rows) == ["Row 3, ref: Row 2 has the same number."]


def test_same_list_is_told_and_entered_again_only_on_the_word(store):
    take(LotList(), LOT)
    with pytest.raises(SameListError, match=r"The same list was taken in on .* Nothing was"):
        take(LotList(), text_of(LOT, mark=";"))
    assert take(LotList(), LOT, dry_run=True).same_as == Entry.objects.get()
    assert Lot.objects.count() == 1
    take(LotList(), LOT, again=True)
    assert Lot.objects.count() == 2


def test_lots_that_are_there_are_left_as_they_are(store):
    row = {"ref": "B-1", **LOT}
    take(LotList(), row)
    found = take(LotList(), text_of(row, {**LOT, "ref": "B-2"}))
    assert found.said == "1 entered, 1 unchanged"
    assert not take(LotList(), row).is_new
    assert Entry.objects.filter(act="take in lots").count() == 2


@pytest.mark.parametrize("count", [1, 20])
def test_number_of_queries_does_not_grow_with_the_lots(store, django_assert_num_queries, count):
    rows = text_of(*({**LOT, "mass (kg)": n + 1, "left oven-dry": "1 g"} for n in range(count)))
    # The last three read the last seal and the new movements, and write their seals.
    with django_assert_num_queries(34 + TURN):
        take(LotList(), rows)


def test_lots_come_in_portions_and_say_how_far_they_are(store, monkeypatch):
    monkeypatch.setattr("fibres.exchange.lotlist.STEP", 2)
    monkeypatch.setattr("studio.files.taking.STEP", 2)
    seen = []
    rows = text_of(*({**LOT, "mass (kg)": n + 1} for n in range(5)))
    take(LotList(), rows, progress=lambda *told: seen.append(told))
    assert seen == [
        (2, 5, "looked over"), (4, 5, "looked over"), (5, 5, "looked over"),
        (2, 5, "entered"), (4, 5, "entered"), (5, 5, "entered"),
    ]  # fmt: skip


def test_name_that_changes_meanwhile_is_read_once_more_under_the_lock(store, monkeypatch):
    flist = LotList()
    real, calls = flist.known, []

    def known(studio):
        calls.append(1)
        if len(calls) == 2:
            Source.objects.update(name="Shed")
        return real(studio)

    monkeypatch.setattr(flist, "known", known)
    with pytest.raises(ListFaultsError, match="nothing was entered"):
        take(flist, LOT)
    assert not Lot.objects.exists()


def test_first_movements_are_for_new_lots_alone(store):
    from fibres import ledger
    from studio.errors import StudioError

    lot = make_lot(*store)
    posting = ledger.Posting(lot, Movement.Kind.COUNTED, 1, lot.received_on)
    with pytest.raises(StudioError, match="Only lots without a movement"):
        ledger.post_first([posting], entry=Entry.objects.first())
    below = ledger.Posting(lot, Movement.Kind.COUNTED, -1, lot.received_on)
    with pytest.raises(StudioError, match="holds nothing any more"):
        ledger.post_first([below], entry=Entry.objects.first())
    early = ledger.Posting(lot, Movement.Kind.COUNTED, 1, lot.received_on - timedelta(days=1))
    with pytest.raises(StudioError, match="The lot came on"):
        ledger.post_first([early], entry=Entry.objects.first())


# --- scrap ------------------------------------------------------------------------------------


def test_gift_becomes_the_lot_that_logging_it_makes(scrap):
    from fibres import gifts, services
    from fibres.gifts import Measure
    from studio.reading import read_quantity

    take(ScrapList(), {**GIFT, "measured": "counted", "number": "640", "size": "A4",
                       "grammage (gsm)": "80", "moisture (%)": "6"})  # fmt: skip
    listed = Lot.objects.get()
    measure = Measure(
        "counted", number=Decimal(640), size=read_quantity("A4", "size"),
        grammage=read_quantity("80 gsm", "grammage"),
    )  # fmt: skip
    logged = services.log_scrap(
        gifts.estimate(measure), donor="Quarry School", fibre=scrap, moisture=Decimal("0.06"),
        received_on=date(2026, 3, 14), moisture_known="weighed", by=None,
    )  # fmt: skip
    for field in Lot._meta.concrete_fields:
        if field.attname not in {"id", "ref"}:
            assert getattr(listed, field.attname) == getattr(logged, field.attname), field
    # 640 x 0.210 x 0.297 m² x 80 g/m²
    assert listed.as_is_mg == 3_193_344


@pytest.mark.parametrize(
    ("row", "as_is_mg", "band"),
    [
        ({"mass (kg)": "8"}, 8 * KG, "0"),
        ({"mass (kg)": "3", "measured": "guess"}, 3 * KG, "0.4"),
        ({"mass (kg)": "3", "measured": "counted"}, 3 * KG, "0.03"),
        # 2.5 x 500 x 0.210 x 0.297 m² x 80 g/m²
        ({"number": "2,5", "measured": "reams", "size": "A4", "grammage": "80 gsm"}, 6_237_000,
         "0.03"),
        # 100 mm of sheets of 0.10 mm: 1000 x 0.210 x 0.297 m² x 80 g/m²
        ({"height": "10 cm", "measured": "pile", "size": "A4", "grammage": "80 gsm"}, 4_989_600,
         "0.1"),
    ],
)  # fmt: skip
def test_gift_is_reckoned_by_the_way_it_was_measured(scrap, row, as_is_mg, band):
    take(ScrapList(), {**GIFT, **row})
    lot = Lot.objects.get()
    assert (lot.as_is_mg, lot.band, lot.paid_minor) == (as_is_mg, Decimal(band), 0)
    assert (lot.moisture, lot.moisture_known) == (Decimal("0.05"), "assumed")


def test_new_donor_is_said_and_entered_once(scrap):
    rows = text_of({**GIFT, "mass (kg)": "8"}, {**GIFT, "donor": "quarry  school",
                   "mass (kg)": "2"}, {**GIFT, "donor": "", "mass (kg)": "1"})  # fmt: skip
    found = take(ScrapList(), rows, dry_run=True)
    assert "New donors are entered with it: Anonymous drop, Quarry School." in found.notes
    assert not Source.objects.exists()
    take(ScrapList(), rows)
    assert sorted(Source.objects.values_list("name", "kind")) == [
        ("Anonymous drop", "donor"), ("Quarry School", "donor"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({}, "Row 2, mass: Nothing stands here, and the gift is measured by: weighed."),
        ({"number": "5", "measured": "reams"}, "Row 2, size: Nothing stands here"),
        ({"class": "Abaca", "mass (kg)": "8"}, "Row 2, class: “Abaca” is no class of scrap."),
        ({"donor": "Yard", "mass (kg)": "8"}, "Row 2, donor: Yard is in the book as a supplier."),
        ({"mass (kg)": "8", "measured": "by eye"}, "Row 2, measured: “by eye” is none of"),
    ],
)
def test_faulty_gift_is_named(store, scrap, row, said):
    assert any(line.startswith(said) for line in faults(ScrapList(), {**GIFT, **row}))


# --- fibres and sources -----------------------------------------------------------------------

FIBRE = {"name": "White kozo", "family": "bast", "class": "virgin"}


def test_fibre_is_entered_with_the_usual_figures_and_changed_where_a_cell_says_so():
    make_studio()
    take(FibreList(), {**FIBRE, "code": "WK", "preparation yield (%)": "55"})
    fibre = Fibre.objects.get()
    assert (fibre.preparation_yield, fibre.usual_moisture) == (Decimal("0.55"), Decimal("0.08"))
    found = take(FibreList(), {"name": "white kozo", "preparation yield (%)": "57", "code": ""})
    assert found.said == "0 entered, 1 changed"
    words = FibreList().words(found.changes[0], make_studio())
    assert words == "White kozo: preparation yield 55 % → 57 %"
    fibre.refresh_from_db()
    assert (fibre.name, fibre.code, fibre.preparation_yield) == (
        "White kozo", "WK", Decimal("0.57"),
    )  # fmt: skip
    assert take(FibreList(), {**FIBRE, "code": "WK"}).said == "0 entered, 1 unchanged"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"name": "White kozo"}, "Row 2, family: Nothing stands here. Give a family."),
        ({**FIBRE, "family": "moss"}, "Row 2, family: “moss” is none of: seed hair, bast"),
        ({**FIBRE, "code": "W1"}, "Row 2, code: Give one to three letters from A to Z"),
        ({**FIBRE, "preparation yield (%)": "0"}, "Row 2, preparation yield: Give more than 0 %."),
        ({**FIBRE, "yield spread (%)": "31"}, "Row 2, yield spread: Give 30 % or less, got 31 %."),
        ({**FIBRE, "refused": "yes"}, "Row 2, refusals: Say why it is refused"),
        (
            {**FIBRE, "preparation days": "400"},
            "Row 2, preparation days: Give 365 or fewer, got 400.",
        ),
    ],
)
def test_faulty_fibre_is_named(row, said):
    make_studio()
    assert any(line.startswith(said) for line in faults(FibreList(), row))


def test_name_twice_is_a_fault_of_the_second():
    make_studio()
    rows = text_of(FIBRE, {**FIBRE, "name": "WHITE KOZO"})
    assert faults(FibreList(), rows) == ["Row 3, name: Row 2 has the same name. Keep one of them."]


def test_source_keeps_its_kind_and_needs_both_months():
    make_studio(currency="GBP")
    take(SourceList(), {"name": "Yard", "kind": "Supplier", "freight (GBP)": "12"})
    source = Source.objects.get()
    assert (source.kind, source.freight_minor) == ("supplier", 1200)
    said = faults(SourceList(), {"name": "Yard", "kind": "donor"})
    assert said[0].startswith("Row 2, kind: “Yard” has another kind here.")
    said = faults(SourceList(), {"name": "Yard", "season from": "9"})
    assert said == ["Row 2, season to: Give both months of the season, or neither."]
