"""Lists of clients, commissions and makings, and the way out and in again of every list."""

import random
from datetime import date
from decimal import Decimal

import openpyxl
import pytest

from fibres.models import Fibre, Lot, Movement, Offer, Source
from orders import sheetsinhand
from orders.audit import audit
from orders.exchange import LISTS, ClientList, CommissionList, MakingList
from orders.learning import facts
from orders.models import Client, Commission, Making, SheetMovement
from studio.exports import FORMULA_STARTS
from studio.files.lists import ListFaultsError
from studio.models import Entry
from tests.builders import (
    day,
    make_client,
    make_commission,
    make_fibre,
    make_finished,
    make_furnish,
    make_lot,
    make_making,
    make_offer,
    make_sheet,
    make_source,
    make_studio,
)
from tests.exchange import TURN, out, plain, take, text_of, told

pytestmark = pytest.mark.django_db

COMMISSION = {
    "title": "Invitations", "client": "Bramble", "sheet": "Text A4", "good": "120",
    "due": "2026-12-04",
}  # fmt: skip
PAST = {
    "sheet": "Text A4", "day": "2026-03-14", "pulls": "112", "good": "100", "retree": "5",
    "broke": "7", "minutes: form": "300",
}  # fmt: skip


@pytest.fixture
def desk():
    make_studio(currency="GBP")
    return make_client(name="Bramble"), make_sheet(name="Text A4")


def faults(flist, content):
    before = Making.objects.count(), Commission.objects.count(), Movement.objects.count()
    with pytest.raises(ListFaultsError) as refusal:
        take(flist, content)
    assert (
        Making.objects.count(), Commission.objects.count(), Movement.objects.count()
    ) == before  # fmt: skip
    return [str(fault) for fault in refusal.value.faults]


# --- clients and commissions ------------------------------------------------------------------


def test_client_is_entered_and_changed_by_name(desk):
    found = take(ClientList(), text_of({"name": "BRAMBLE", "contact": "the binder"},
                                       {"name": "Ockle", "contact": ""}))  # fmt: skip
    assert found.said == "1 entered, 1 changed"
    assert sorted(Client.objects.values_list("name", "contact")) == [
        ("Bramble", "the binder"), ("Ockle", ""),
    ]  # fmt: skip


def test_commission_is_entered_with_all_that_is_said_of_it(desk):
    lot = make_lot()
    row = {
        **COMMISSION, "ref": "C-041", "state": "agreed", "priority": "2", "no scrap": "yes",
        "only lots": lot.ref, "not before": "2026-11-01", "all or nothing": "yes",
        "recycled at least (%)": "30", "client takes over (%)": "5", "remarks": "=1+1",
    }  # fmt: skip
    take(CommissionList(), text_of(row, {**COMMISSION, "title": "Menus"}))
    one, other = Commission.objects.order_by("pk")
    assert (one.ref, other.ref) == ("C-041", "C-042")
    assert (one.state, one.priority, one.no_scrap, one.all_or_nothing) == (
        "agreed", 2, True, True,
    )  # fmt: skip
    assert list(one.only_lots.all()) == [lot]
    assert (one.not_before, one.claim_recycled, one.tolerance_over) == (
        date(2026, 11, 1), Decimal("0.3"), Decimal("0.05"),
    )  # fmt: skip
    assert (other.state, other.priority, other.tolerance_over) == ("enquiry", 5, 0)
    assert Entry.objects.filter(act="take in commissions").count() == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"client": "Brambl"}, "Row 2, client: No client is called “Brambl”. Near it: Bramble."),
        ({"sheet": "Old"}, "Row 2, sheet: “Old” is closed. Open it again first."),
        ({"good": "0"}, "Row 2, good: “0” is outside what is allowed"),
        ({"due": "soon"}, "Row 2, due: Give a day such as 2026-11-25, got “soon”."),
        ({"not before": "2027-01-01"}, "Row 2, not before: This is after the day due."),
        ({"only lots": "X-1"}, "Row 2, only lots: No lot is called “X-1”."),
        ({"state": "lost"}, "Row 2, state: “lost” is none of: enquiry, quoted, agreed"),
        ({"ref": "t-1"}, "Row 2, ref: Commission T-1 is there already with another title, good."),
    ],
)
def test_faulty_commission_is_named(desk, change, said):
    make_sheet(name="Old", closed_on=day())
    make_commission(*reversed(desk), ref="T-1", title="Other", due=date(2026, 12, 4))
    assert any(
        line.startswith(said) for line in faults(CommissionList(), {**COMMISSION, **change})
    )


def test_commission_of_the_past_may_be_of_a_closed_sheet(desk):
    make_sheet(name="Old", closed_on=day())
    take(CommissionList(), {**COMMISSION, "sheet": "Old", "state": "closed", "ref": "C-1"})
    assert Commission.objects.get().state == "closed"


# --- makings ----------------------------------------------------------------------------------


def test_making_of_the_past_teaches_and_moves_nothing(desk):
    make_lot()
    found = take(MakingList(), PAST)
    making = Making.objects.get()
    assert (making.state, making.finished_on, making.wanted_good, making.pulls) == (
        "finished", date(2026, 3, 14), 100, 112,
    )  # fmt: skip
    assert "Nothing in the store moves: no row says which lots to take out." in found.notes
    assert Movement.objects.filter(kind="issued").count() == 0
    assert list(sheetsinhand.in_hand()) == []
    assert [row.kind for row in making.sheet_movements.all()] == [
        "made", "counted", "made", "counted",
    ]  # fmt: skip
    known = facts.read()[0]
    assert (known.good, known.retree, known.broke, known.minutes) == (100, 5, 7, 300)
    assert audit().faults == []


def test_sheets_that_lie_there_are_in_hand(desk):
    take(MakingList(), {**PAST, "good in hand": "40", "retree in hand": "5"})
    making = sheetsinhand.in_hand().get()
    assert (making.good_in_hand, making.retree_in_hand) == (40, 5)
    assert audit().faults == []


def test_lots_that_are_named_leave_the_store(desk):
    lot = make_lot(received_on=date(2026, 1, 2))
    found = take(MakingList(), {**PAST, "take from lots": f"{lot.ref}: 2.5 kg"})
    lot.refresh_from_db()
    # (10 - 2.5) kg x (1 - 0.08)
    assert lot.oven_dry_mg == 6_900_000
    issue = Making.objects.get().issues.get()
    assert (issue.as_is_mg, issue.oven_dry_mg) == (2_500_000, 2_300_000)
    assert issue.movement.kind == "issued"
    assert "Fibre leaves the store for 1 of 1 finished makings." in found.notes
    assert audit().faults == []


def test_what_is_weighed_out_at_the_vat_is_not_taken_a_second_time(desk):
    lot = make_lot(received_on=date(2026, 1, 2))
    open_making = make_making(state=Making.State.AT_THE_VAT)
    open_making.issues.create(
        lot=lot, as_is_mg=8_000_000, moisture=lot.moisture, oven_dry_mg=7_360_000
    )
    said = faults(MakingList(), {**PAST, "take from lots": f"{lot.ref}: 2.5 kg"})
    # 10 kg x 0.92 - 7.36 kg
    assert said[0].startswith(f"Row 2, take from lots: {lot.ref} holds 1.84")


def test_planned_making_has_its_safe_pulls(desk):
    from orders.makings import planning

    take(MakingList(), {"sheet": "Text A4", "day": "2099-03-14", "wanted": "100"})
    listed = Making.objects.get()
    planned = planning.plan_making(
        Making(sheet=desk[1], wanted_good=100, planned_on=date(2099, 3, 14)), by=None
    )
    assert (listed.state, listed.pulls) == ("planned", planned.pulls)


def test_pulls_of_the_past_are_those_that_the_sheets_were_cut_from(desk):
    take(MakingList(), {**PAST, "pulls": ""})
    # One sheet to a pull: 100 + 5 + 7
    assert Making.objects.get().pulls == 112


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"good": "", "retree": "", "broke": ""}, "Row 2, wanted: Nothing stands here."),
        ({"state": "finished", "good": "0", "retree": "0", "broke": "0"},
         "Row 2, good: No sheets are counted."),
        ({"state": "planned"}, "Row 2, state: A making that is planned has no counts"),
        ({"state": "at the vat"}, "Row 2, state: “at the vat” is none of"),
        ({"day": "2099-01-01"}, "Row 2, day: That day has not come yet"),
        ({"finished on": "2026-03-01"}, "Row 2, finished on: That is before its day at the vat."),
        ({"good in hand": "101"}, "Row 2, good in hand: 101 are more than the 100 made."),
        ({"take from lots": "AB-0001 2 kg"}, "Row 2, take from lots: “AB-0001 2 kg” is no lot"),
        ({"take from lots": "B-1: 99 kg"}, "Row 2, take from lots: B-1 holds 9.20"),
        ({"take from lots": "B-1: 6 kg; B-1: 6 kg"}, "Row 2, take from lots: B-1 holds 3.68"),
        ({"take from lots": "B-2: 1 kg"}, "Row 2, take from lots: B-2 came on"),
        ({"commission": "C-9"}, "Row 2, commission: No commission is called “C-9”."),
        ({"mould": "Large"}, "Row 2, mould: No mould is called “Large”."),
    ],
)  # fmt: skip
def test_faulty_making_is_named(desk, change, said):
    for ref, came in (("B-1", date(2026, 1, 2)), ("B-2", date(2026, 6, 2))):
        lot = make_lot(received_on=came)
        Lot.objects.filter(pk=lot.pk).update(ref=ref)
    assert any(line.startswith(said) for line in faults(MakingList(), {**PAST, **change}))


def test_planned_making_fits_its_commission(desk):
    other = make_commission(ref="C-1")
    lost = make_commission(*reversed(desk), ref="C-2", state="withdrawn")
    row = {"sheet": "Text A4", "day": "2099-01-01", "wanted": "5"}
    assert faults(MakingList(), {**row, "commission": other.ref}) == [
        "Row 2, sheet: C-1 asks for another sheet."
    ]
    assert faults(MakingList(), {**row, "commission": lost.ref}) == [
        "Row 2, commission: C-2 is withdrawn, not agreed or being made."
    ]


@pytest.mark.parametrize("count", [1, 20])
@pytest.mark.parametrize(("flist", "row", "queries"), [
    (CommissionList(), COMMISSION, 26), (MakingList(), PAST, 38),
], ids=["commissions", "makings"])  # fmt: skip
def test_number_of_queries_does_not_grow_with_the_rows(
    desk, django_assert_num_queries, count, flist, row, queries
):
    rows = text_of(*({**row, "remarks": str(number)} for number in range(count)))
    with django_assert_num_queries(queries + TURN):
        take(flist, rows)


# --- out and in again -------------------------------------------------------------------------

TRIGGERS = "=+-@'\t＝＋－＠ \"´x1;,é\u200b"


def risky(chance, used):
    """Return a name that a spreadsheet may take for something else; no two alike."""
    while True:
        name = "".join(chance.choice(TRIGGERS) for _ in range(chance.randint(1, 12))).strip()
        name = name.replace("\t", "")
        key = " ".join(name.split()).casefold()
        if key and key not in used and not key.startswith("example:"):
            used.add(key)
            return name


def fill(chance, rows=12):
    """Fill a studio with rows whose names all look like formulas."""
    used: set[str] = set()
    make_studio(currency="GBP")
    fibre = make_fibre(
        name=risky(chance, used), evidence="=cmd|' /C x'!A0\nsecond line", minimum_mg=1_234_567,
        preparation_yield=Decimal("0.123456"),
    )  # fmt: skip
    scrap = make_fibre(name=risky(chance, used), is_scrap=True, code="OW")
    sheet = make_sheet(make_furnish({fibre: "1"}), name=risky(chance, used))
    for _ in range(rows):
        source = make_source(name=risky(chance, used), contact="+44 1", freight_minor=1234)
        donor = make_source(name=risky(chance, used), kind="donor", may_be_named=True)
        client = make_client(name=risky(chance, used), contact="@home")
        make_offer(fibre, source, breaks={4: 850}, form="-5", valid_to=date(2027, 1, 2))
        lot = make_lot(
            fibre, source, as_is_mg=chance.randint(1, 10**9), moisture="0.123456",
            form="=A1", place="+1", paid_minor=chance.randint(0, 10**6), remarks="@x\n-y",
        )  # fmt: skip
        make_lot(scrap, donor, measured="counted", band=Decimal("0.03"), place="Loft")
        commission = make_commission(
            sheet, client, title="=HYPERLINK(1)", tolerance_over=Decimal("0.05")
        )
        commission.only_lots.add(lot)
        make_finished(commission, good=50, retree=3, broke=2, sample="=1", remarks="+2")
        make_making(sheet, remarks="@sum")


def empty():
    """Take everything away that lists bring, so that they can come in again."""
    from studio import appendonly

    appendonly.remove()
    for rows in (
        SheetMovement.objects, Making.objects, Commission.objects, Client.objects,
        Movement.objects, Lot.objects, Offer.objects,
    ):  # fmt: skip
        _raw_delete(rows.model)
    appendonly.install()


def _raw_delete(model):
    from django.db import connection

    with connection.cursor() as cursor:
        for related in model._meta.related_objects:
            table = related.related_model._meta.db_table
            if related.related_model is not model:
                cursor.execute(f'DELETE FROM "{table}"')
        for many in model._meta.local_many_to_many:
            cursor.execute(f'DELETE FROM "{many.remote_field.through._meta.db_table}"')
        cursor.execute(f'DELETE FROM "{model._meta.db_table}"')


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
@pytest.mark.parametrize("slug", LISTS)
def test_every_list_comes_out_and_in_again_with_nothing_changed(slug, kind):
    fill(random.Random(7), rows=3)
    flist = LISTS[slug]
    found = take(flist, out(flist, kind))
    assert found.said == f"0 entered, {len(told(flist))} unchanged"
    assert not found.is_new


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_an_empty_studio_is_filled_by_the_lists_of_another(kind):
    fill(random.Random(11))
    kept = ("fibres", "sources", "offers", "lots", "clients", "commissions", "makings")
    files = {slug: out(LISTS[slug], kind) for slug in kept}
    before = {slug: told(LISTS[slug]) for slug in kept}
    balances = dict(Lot.objects.values_list("ref", "oven_dry_mg"))
    empty()
    Source.objects.all().delete()
    Fibre.objects.exclude(furnish_parts__isnull=False).delete()
    assert not Lot.objects.exists()
    assert not Commission.objects.exists()
    for slug in kept:
        take(LISTS[slug], files[slug])
    for slug in kept:
        assert told(LISTS[slug]) == before[slug], slug
    assert dict(Lot.objects.values_list("ref", "oven_dry_mg")) == balances
    assert audit().faults == []


def test_scrap_log_fills_an_empty_store():
    fill(random.Random(13), rows=4)
    flist = LISTS["scrap"]
    file, before = out(flist, "csv"), told(flist)
    empty()
    take(flist, file)
    assert told(flist) == before


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_thousand_names_come_out_as_text_and_in_again_as_they_were(kind, tmp_path):
    chance, used = random.Random(17), set()
    make_studio(currency="GBP")
    names = [risky(chance, used) for _ in range(1000)]
    Client.objects.bulk_create([Client(name=name) for name in names])
    content = out(LISTS["clients"], kind)
    if kind == "xlsx":
        path = tmp_path / "clients.xlsx"
        path.write_bytes(content)
        cells = [row[0] for row in openpyxl.load_workbook(path).active.iter_rows(min_row=2)]
        assert {one.data_type for one in cells} == {"s"}
    else:
        starts = {line[:1] for line in content.decode("utf-8-sig").splitlines()[1:]}
        assert not starts & {*FORMULA_STARTS, "\t"}
    Client.objects.all().delete()
    assert take(LISTS["clients"], content).said == "1000 entered"
    assert sorted(Client.objects.values_list("name", flat=True)) == sorted(names)


def test_figures_come_out_exactly():
    make_studio(currency="GBP")
    lot = make_lot(as_is_mg=123_456_789, moisture="0.012345", paid_minor=7)
    row = next(iter(LISTS["lots"].rows_out()))
    assert plain(row["mass"]) == lot.as_is_mg
    text = out(LISTS["lots"], "csv").decode("utf-8-sig")
    heads, values = (line.split(",") for line in text.splitlines()[:2])
    shown = dict(zip(heads, values, strict=True))
    assert shown["mass (kg)"] == "123.456789"
    assert shown["moisture (%)"] == "1.2345"
    assert shown["paid (GBP)"] == "0.07"


def test_money_is_left_out_for_who_sees_none():
    make_studio(currency="GBP")
    make_lot(paid_minor=987_654_321)
    make_offer(minor_per_kg=987_654_321)
    for slug, flist in LISTS.items():
        text = out(flist, "csv", with_money=False).decode("utf-8-sig")
        assert "GBP" not in text, slug
        assert "9876543" not in text, slug


def test_commands_bring_in_and_take_out(desk, tmp_path, capsys):
    from django.core.management import CommandError, call_command

    path = tmp_path / "clients.xlsx"
    call_command("export_clients", str(path))
    Client.objects.all().update(contact="x")
    call_command("import_clients", str(path), "--json")
    assert '"unchanged": 1' in capsys.readouterr().out
    call_command("export_clients")
    assert capsys.readouterr().out.splitlines()[0] == "name,contact,remarks,closed"
    call_command("export_lots", str(tmp_path / "empty.csv"), "--template")
    call_command("export_lots", str(tmp_path / "empty.xlsx"), "--template")
    for name in ("empty.csv", "empty.xlsx"):
        with pytest.raises(CommandError, match="There is no row under the headings"):
            call_command("import_lots", str(tmp_path / name))
    with pytest.raises(CommandError, match=r"clients.txt is neither .csv nor .xlsx"):
        call_command("export_clients", "clients.txt")


def test_three_hundred_faults_are_counted_and_the_first_two_hundred_shown(desk, tmp_path, capsys):
    from django.core.management import CommandError, call_command

    path = tmp_path / "clients.csv"
    path.write_text("name,closed\n" + "".join(f"Client {n},soon\n" for n in range(300)))
    with pytest.raises(CommandError, match="300 faults in 300 rows: nothing was entered"):
        call_command("import_clients", str(path))
    lines = capsys.readouterr().err.splitlines()
    assert lines[199].startswith("Row 201, closed:")
    assert lines[200] == "And 100 more like these."
