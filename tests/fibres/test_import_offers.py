"""Lists of offers from a file: all rows or none, every fault named, known offers replaced."""

import io
import json
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command

from fibres.exchange import OfferList
from fibres.models import Offer, OfferBreak
from studio import commands
from studio.files import books, limits, taking
from studio.files.rows import read_list
from studio.models import Entry
from tests.builders import KG, day, make_fibre, make_offer, make_source, make_studio
from tests.exchange import TURN
from tests.fibres.offer_lists import GOOD, as_csv, as_xlsx

pytestmark = pytest.mark.django_db

FULL = {
    **GOOD,
    "form": "Dry sheet",
    "price per": "air-dry",
    "currency": "GBP",
    "least packs": "2",
    "breaks": "4: 11.50; 10: 10.90",
    "breaks are": "incremental",
    "valid from": "2027-01-01",
    "valid to": "31 Dec 2027",
}


@pytest.fixture
def known():
    make_studio(currency="GBP")
    return make_source(name="Greyling Fibres"), make_fibre(name="Cotton linter")


@pytest.fixture
def take(tmp_path):
    """Run the command on bytes; return what it printed."""

    def run(content, *options, name="list.csv"):
        path = tmp_path / name
        path.write_bytes(content)
        out, err = io.StringIO(), io.StringIO()
        run.err = err
        call_command("import_offers", str(path), *options, stdout=out, stderr=err)
        return out.getvalue()

    return run


def looked_at(*listed):
    return read_list(as_csv(*listed), OfferList.columns)


def refused(take, content, *options, **more):
    """Return every line that the command says where it refuses; nothing may be written."""
    before = Offer.objects.count(), OfferBreak.objects.count(), Entry.objects.count()
    with pytest.raises(CommandError) as refusal:
        take(content, *options, **more)
    assert (Offer.objects.count(), OfferBreak.objects.count(), Entry.objects.count()) == before
    return f"{take.err.getvalue()}{refusal.value}"


# --- what is taken in -------------------------------------------------------------------------


def test_row_with_every_column_becomes_an_offer(known, take):
    source, fibre = known
    assert take(as_csv(FULL)) == "Offers: 1 entered.\n"
    offer = Offer.objects.get()
    assert (offer.source, offer.fibre, offer.form) == (source, fibre, "Dry sheet")
    assert (offer.pack_mg, offer.moisture) == (5 * KG, Decimal("0.08"))
    assert (offer.price_per, offer.minor_per_kg) == ("air-dry", 940)
    assert (offer.least_packs, offer.breaks_are) == (2, "incremental")
    assert (offer.valid_from, offer.valid_to) == (date(2027, 1, 1), date(2027, 12, 31))
    assert [(step.from_packs, step.minor_per_kg) for step in offer.breaks.all()] == [
        (4, 1150),
        (10, 1090),
    ]
    entry = Entry.objects.get()
    assert entry.said == "Took in offers from list.csv: 1 entered"
    assert entry.page == "/sources/offers/"


def test_columns_that_are_left_out_mean_the_usual(known, take):
    take(as_csv(GOOD))
    offer = Offer.objects.get()
    assert (offer.form, offer.price_per, offer.least_packs) == ("", "as-is", 1)
    assert (offer.breaks_are, offer.breaks.count()) == ("all units", 0)
    assert (offer.valid_from, offer.valid_to) == (None, None)


@pytest.mark.parametrize(
    "content",
    [
        as_csv(GOOD, delimiter=";"),
        as_csv(GOOD, encoding="utf-8-sig"),
        as_csv({**GOOD, "price": "9,40"}),
        as_csv({**GOOD, "price": "£9.40"}, delimiter=";"),
        as_csv({name.title(): text for name, text in GOOD.items()}),
        as_csv({**GOOD, "source": "greyling fibres"}),
        as_csv(GOOD).replace(b"\n", b"\n,,,,\n"),
        as_csv(GOOD).replace(b"\r\n", b"\r"),
    ],
    ids=["semicolon", "mark", "comma", "sign", "capitals", "small", "blank rows", "old ends"],
)
def test_lists_as_spreadsheets_write_them(known, take, content):
    take(content)
    assert Offer.objects.get().minor_per_kg == 940


def test_pounds_and_decimal_commas_are_read_as_elsewhere(known, take):
    take(as_csv({**GOOD, "pack": "2 lb", "moisture": "6,5 %"}))
    offer = Offer.objects.get()
    # 2 x 0.45359237 kg, to the milligram
    assert (offer.pack_mg, offer.moisture) == (907_185, Decimal("0.065"))


def test_workbook_gives_numbers_percent_and_days(known, take):
    content = as_xlsx(
        ["source", "fibre", "pack", "price", "moisture", "least packs", "valid to"],
        ["Greyling Fibres", "Cotton linter", "5 kg", 9.4, 0.08, 3, date(2027, 12, 31)],
        formats={"E2": "0.0%"},
    )
    take(content, name="list.xlsx")
    offer = Offer.objects.get()
    assert (offer.minor_per_kg, offer.moisture) == (940, Decimal("0.08"))
    assert (offer.least_packs, offer.valid_to) == (3, date(2027, 12, 31))


def test_sheet_is_chosen_by_name(known, take):
    content = as_xlsx([*GOOD], [*GOOD.values()], sheet="Spring")
    take(content, "--sheet", "Spring")
    assert Offer.objects.count() == 1
    assert "There is no sheet “Autumn”. There are: Spring." in refused(
        take, content, "--sheet", "Autumn"
    )
    assert "Only a workbook has sheets" in refused(take, as_csv(GOOD), "--sheet", "Spring")


def test_dry_run_says_what_it_would_do_and_writes_nothing(known, take):
    source, fibre = known
    make_offer(fibre, source, minor_per_kg=900)
    said = take(as_csv(GOOD, {**GOOD, "pack": "20 kg"}), "--dry-run")
    assert said.splitlines() == [
        "Nothing is written. It would be: 1 entered, 1 replaced.",
        "  Row 2: replace Cotton linter from Greyling Fibres, 5.00\u00a0kg at £9.40 a kilogram "
        "as sold",
        "  Row 3: enter Cotton linter from Greyling Fibres, 20.00\u00a0kg at £9.40 a kilogram "
        "as sold",
    ]
    assert Offer.objects.get().minor_per_kg == 900
    assert not Entry.objects.exists()


def test_json_gives_counts(known, take):
    assert json.loads(take(as_csv(GOOD), "--json")) == {
        "rows": 1, "entered": 1, "replaced": 0, "unchanged": 0, "dry_run": False,
    }  # fmt: skip
    assert json.loads(take(as_csv(GOOD), "--json", "--dry-run"))["unchanged"] == 1


# --- offers that are known --------------------------------------------------------------------


def test_open_offer_of_the_same_pack_is_closed_and_the_new_one_entered(known, take):
    source, fibre = known
    old = make_offer(fibre, source, minor_per_kg=900, breaks={4: 850})
    other_pack = make_offer(fibre, source, pack_mg=KG)
    other_form = make_offer(fibre, source, form="Dry sheet")
    assert take(as_csv(GOOD)) == "Offers: 0 entered, 1 replaced.\n"
    for offer, is_closed in ((old, True), (other_pack, False), (other_form, False)):
        offer.refresh_from_db()
        assert offer.is_closed == is_closed
    new = Offer.objects.latest("pk")
    assert (new.minor_per_kg, new.breaks.count(), new.closed_on) == (940, 0, None)
    assert old.breaks.count() == 1


@pytest.mark.parametrize(
    "change",
    [
        {"price": "9.41"},
        {"moisture": "8.1 %"},
        {"price per": "oven-dry"},
        {"least packs": "2"},
        {"breaks": "4: 9.00"},
        {"breaks are": "incremental"},
        {"valid to": "2099-01-01"},
    ],
    ids=lambda change: next(iter(change)),
)
def test_any_difference_replaces_and_none_leaves_it_alone(known, take, change):
    take(as_csv(GOOD))
    assert take(as_csv(GOOD)) == "Offers: 0 entered, 1 unchanged.\n"
    assert Offer.objects.count() == 1
    take(as_csv({**GOOD, **change}))
    assert Offer.objects.filter(closed_on=None).count() == 1
    assert Offer.objects.filter(closed_on=day()).count() == 1


def test_next_years_price_stands_beside_this_years(known, take):
    source, fibre = known
    make_offer(fibre, source, valid_to=date(2027, 12, 31))
    take(as_csv({**GOOD, "valid from": "2028-01-01"}))
    assert Offer.objects.filter(closed_on=None).count() == 2
    take(as_csv({**GOOD, "valid from": "2027-12-31"}))
    assert Offer.objects.filter(closed_on=None).count() == 1


def test_closed_offer_stays_closed(known, take):
    source, fibre = known
    make_offer(fibre, source, closed_on=day(9))
    assert take(as_csv(GOOD)) == "Offers: 1 entered.\n"
    assert Offer.objects.filter(closed_on=day(9)).count() == 1


# --- faults -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"source": "Greylng Fibres"}, "Row 2, source: No source is called “Greylng Fibres”. "
                                       "Near it: Greyling Fibres."),
        ({"source": "Qx"}, "Row 2, source: No source is called “Qx”. Enter the source first."),
        ({"source": ""}, "Row 2, source: Nothing stands here. Give the name of a supplier."),
        ({"source": "The school"}, "Row 2, source: “The school” is entered as donor."),
        ({"source": "Old Yard"}, "Row 2, source: “Old Yard” is closed."),
        ({"fibre": "Cotton lintr"}, "Row 2, fibre: No fibre is called “Cotton lintr”. Near it: "
                                    "Cotton linter."),
        ({"fibre": "Till rolls"}, "Row 2, fibre: “Till rolls” is refused at the door"),
        ({"fibre": "Old hemp"}, "Row 2, fibre: “Old hemp” is closed."),
        ({"form": "x" * 61}, "Row 2, form: Give at most 60 characters; this has 61."),
        ({"pack": "5"}, "Row 2, pack: “5” has no unit."),
        ({"pack": "0 kg"}, "Row 2, pack: “0 kg” is outside what is allowed"),
        ({"pack": "1,234 kg"}, "Row 2, pack: “1,234 kg” can mean two things."),
        ({"price": "cheap"}, "Row 2, price: Give “price” as a plain amount in GBP"),
        ({"price": "-1"}, "Row 2, price: Give “price” as a plain amount"),
        ({"price": "9.405"}, "Row 2, price: GBP has 2 decimal places"),
        ({"moisture": "8"}, "Row 2, moisture: “8” has no unit."),
        ({"moisture": "100 %"}, "Row 2, moisture: Give less than 100 %"),
        ({"moisture": "8.00001 %"}, "Row 2, moisture: Give at most four places"),
        ({"price per": "bale"}, "Row 2, price per: “bale” is none of: as-is, air-dry, oven-dry."),
        ({"currency": "USD"}, "Row 2, currency: “USD” is not the studio's currency, GBP."),
        ({"least packs": "0"}, "Row 2, least packs: “0” is outside what is allowed"),
        ({"least packs": "1.5"}, "Row 2, least packs: “1.5” is not whole."),
        ({"least packs": "100001"}, "Row 2, least packs: Give 100\u202f000 or fewer, got "
                                    "100\u202f001."),
        ({"breaks": "4 for 9"}, "Row 2, breaks: “4 for 9” is no price break."),
        ({"breaks": "9: 9.00; 4: 8.00"}, "Row 2, breaks: Breaks must go up"),
        ({"breaks": "4: 9.00; 4: 8.00"}, "Row 2, breaks: Breaks must go up"),
        ({"breaks": "1: 9.00"}, "Row 2, breaks: The first price holds from 1 on."),
        ({"breaks": ";".join(f"{n}: 1" for n in range(2, 23))}, "Row 2, breaks: Give at most 20"),
        ({"breaks are": "some"}, "Row 2, breaks are: “some” is none of: all units, incremental."),
        ({"valid to": "soon"}, "Row 2, valid to: Give a day such as 2026-11-25, got “soon”."),
        ({"valid from": "2027-02-01", "valid to": "2027-01-01"}, "Row 2, valid to: An offer "
                                                                  "cannot end before it starts."),
    ],
)  # fmt: skip
def test_faulty_cell_is_named_by_row_and_column(known, take, change, said):
    make_source(name="The school", kind="donor")
    make_source(name="Old Yard", closed_on=day())
    make_fibre(name="Till rolls", is_refused=True, refusals="Bisphenol.")
    make_fibre(name="Old hemp", closed_on=day())
    answer = refused(take, as_csv({**GOOD, **change}))
    assert said in answer
    assert answer.endswith("1 fault in 1 row: nothing was entered.")


def test_every_fault_of_every_row_is_named_at_once(known, take):
    answer = refused(
        take,
        as_csv(GOOD, {**GOOD, "pack": "5", "price": "x"}, {**GOOD, "fibre": "Qx", "pack": "1 kg"}),
    )
    assert [line.partition(":")[0] for line in answer.splitlines()] == [
        "Row 3, pack",
        "Row 3, price",
        "Row 4, fibre",
        "Read as UTF-8 text, its cells parted by commas.",
        "3 faults in 2 rows",
    ]


def test_two_rows_of_the_same_pack_are_a_fault_of_the_second(known, take):
    answer = refused(take, as_csv(GOOD, {**GOOD, "price": "8.00"}))
    assert "Row 3: Row 2 offers the same pack of the same fibre on the same days." in answer
    late = {**GOOD, "valid from": "2028-01-01"}
    take(as_csv({**GOOD, "valid to": "2027-12-31"}, late))
    assert Offer.objects.count() == 2


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "The file is empty. Its first line names: source, fibre"),
        (b"\n\n", "The file is empty."),
        (as_csv(GOOD).splitlines()[0], "There is no row under the headings."),
        (as_csv({**GOOD, "colour": "red"}), "No column is called “colour”. Known are: source"),
        (as_csv({**GOOD, "moistur": "8 %"}), "“moistur”; near it is “moisture”."),
        (b"source,fibre,pack,price\na,b,c,d\n", "There is no heading “moisture”."),
        (b"source,source,fibre,pack,price,moisture\n", "The heading “source” stands there twice."),
        (b",source\n", "A column with cells in it has no heading."),
        ("source\u00e9".encode("latin-1"), "No column is called “sourceé”; near it is “source”."),
        (b"source\x81", "The file looks like Windows-1252 text, and byte 7 cannot be read"),
        (b"source\0", "The file is no text."),
        (as_csv(GOOD) + b'"a"b,c\n', "Line 3 of the file cannot be read"),
        (b"\xd0\xcf\x11\xe0old", "a workbook of the old kind"),
        (b"PK\x03\x04broken", "The workbook cannot be read."),
    ],
)
def test_file_that_is_no_list_is_refused(known, take, content, said):
    assert said in refused(take, content)


def test_more_cells_than_headings_are_a_fault_of_the_row(known, take):
    content = as_csv(GOOD).replace(b"9.40", b"9,40")
    answer = refused(take, content)
    assert "Row 2: There are more cells than headings." in answer


def test_formula_in_a_workbook_is_refused(known, take):
    content = as_xlsx([*GOOD], [*{**GOOD, "price": "=4.70*2"}.values()])
    assert "Row 2, price: A formula stands here." in refused(take, content)


def test_made_up_workbook_is_refused(known, take):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as packed:
        packed.writestr("hello.txt", "no workbook")
    assert "The workbook cannot be read." in refused(take, file.getvalue())


def test_too_large_is_refused_early(known, take, monkeypatch, tmp_path):
    monkeypatch.setattr(limits, "MOST_BYTES", 20)
    assert "list.csv is larger than" in refused(take, as_csv(GOOD))
    monkeypatch.undo()
    monkeypatch.setattr(limits, "MOST_ROWS", 1)
    answer = refused(take, as_csv(GOOD, {**GOOD, "pack": "1 kg"}))
    assert "The list has more than 1 rows." in answer
    monkeypatch.setattr(books.limits, "MOST_UNPACKED", 10)
    assert "too large once unpacked" in refused(take, as_xlsx([*GOOD], [*GOOD.values()]))


def test_file_that_is_not_there_is_one_line(known):
    with pytest.raises(CommandError, match=r"nowhere.csv cannot be read: No such file"):
        call_command("import_offers", "nowhere.csv")


# --- progress ---------------------------------------------------------------------------------


HOW = "Read as UTF-8 text, its cells parted by commas.\n"


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(
    ("out", "patience", "is_shown"),
    [(Terminal, 0, True), (Terminal, 60, False), (io.StringIO, 0, False)],
    ids=["slow on a terminal", "quick", "into a file"],
)
def test_progress_is_one_line_on_a_terminal_that_takes_long(
    known, tmp_path, monkeypatch, out, patience, is_shown
):
    monkeypatch.setattr(commands, "PATIENCE_S", patience)
    monkeypatch.setattr(taking, "STEP", 1)
    path = tmp_path / "list.csv"
    path.write_bytes(as_csv(GOOD, {**GOOD, "pack": "1 kg"}))
    err = out()
    call_command("import_offers", str(path), stdout=io.StringIO(), stderr=err)
    half, whole = "#" * 12 + "." * 12, "#" * 24
    shown = (
        f"[{half}] 1 of 2 rows looked over",
        f"[{whole}] 2 of 2 rows looked over",
        f"[{whole}] 2 of 2 rows entered",
    )
    expected = "".join(f"\r{one}" for one in shown) + "\r\033[K" if is_shown else ""
    assert err.getvalue() == expected + HOW


@pytest.mark.parametrize("count", [1, 20])
@pytest.mark.parametrize(("dry_run", "queries"), [(True, 4), (False, 15)], ids=["dry", "real"])
def test_number_of_queries_does_not_grow_with_the_rows(
    known, django_assert_num_queries, count, dry_run, queries
):
    listed = ({**GOOD, "pack": f"{n + 1} kg", "breaks": "4: 9.00"} for n in range(count))
    file = looked_at(*listed)
    with django_assert_num_queries(queries if dry_run else queries + TURN):
        taking.take_in(OfferList(), file, dry_run=dry_run)


@pytest.mark.parametrize("count", [1, 20])
def test_number_of_queries_does_not_grow_with_the_offers_that_stand(
    known, django_assert_num_queries, count
):
    source, fibre = known
    for number in range(count):
        make_offer(fibre, source, pack_mg=(number + 1) * KG, breaks={4: 900})
    listed = ({**GOOD, "pack": f"{n + 1} kg", "breaks": "4: 9.00"} for n in range(count))
    file = looked_at(*listed)
    with django_assert_num_queries(5):
        found = taking.take_in(OfferList(), file, dry_run=True)
    assert found.count("unchanged") == count
