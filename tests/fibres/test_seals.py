"""Every movement is sealed as it is written, and the audit finds what is not as it was sealed."""

from __future__ import annotations

import hashlib
import json
from datetime import date, timedelta
from importlib import import_module
from io import StringIO
from typing import Any

import pytest
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from fibres import ledger, sealing
from fibres.audit import audit
from fibres.calc.chain import Noted
from fibres.ledger import Posting, post_first
from fibres.models import Lot, Movement, Seal
from fibres.services import correct, take_out
from studio.entries import enter
from studio.errors import NotEnoughError, StudioError
from studio.people import keep_person
from studio.roles import HAND, OWNER
from tests.builders import KG, day, make_lot, make_user
from tests.exchange import TURN
from tests.sealed import resealed, unguarded

pytestmark = pytest.mark.django_db


def book(by: Any = None) -> list[Movement]:
    """Write five movements of two lots: two receipts, an issue, and its correction."""
    first, _ = make_lot(), make_lot()
    issued = take_out(
        first, as_is_mg=KG, kind=Movement.Kind.ISSUED, happened_on=day(20), why="Cards", by=by
    )
    correct(issued, as_is_mg=2 * KG, happened_on=day(19), why="Misread", by=by)
    return list(Movement.objects.select_related("lot", "entry"))


def said() -> list[str]:
    return [str(fault) for fault in audit().faults]


def changed(statement: str, *values: Any) -> None:
    with unguarded(), connection.cursor() as cursor:
        cursor.execute(statement, values)


# --- writing ------------------------------------------------------------------------------------


def by_hand(rows: list[Movement]) -> str:
    """Reckon the chain from the rows, as the docs of the chain tell it."""
    digest = "0" * 64
    for number, row in enumerate(rows, start=1):
        entry = row.entry
        told = [
            1, row.pk, row.lot_id, row.lot.ref, row.kind, row.oven_dry_mg, row.as_is_mg,
            f"{row.moisture:.6f}", str(row.happened_on), row.why, row.reverses_id,
            str(entry.request_key), entry.act, entry.said, entry.page,
            entry.by.get_username() if entry.by else None,
            entry.recorded_at.strftime("%Y-%m-%dT%H:%M:%S.%f+00:00"),
        ]  # fmt: skip
        line = json.dumps(told, separators=(",", ":"))
        digest = hashlib.sha256(f"{digest}\n{number}\n{line}".encode()).hexdigest()
    return digest


def test_every_movement_is_sealed_in_the_order_of_the_ledger():
    rows = book(by=make_user(HAND))
    assert len(rows) == 5
    seals = list(Seal.objects.values_list("number", "movement"))
    assert seals == [(number, row.pk) for number, row in enumerate(rows, start=1)]
    assert sealing.head() == (5, by_hand(rows))
    assert said() == []


def test_many_first_movements_are_sealed_at_once(django_assert_num_queries):
    lot = make_lot()
    taken = take_out(lot, as_is_mg=KG, kind="issued", happened_on=day(), why="", by=None)
    entry = enter("take in lots", "Two lots", page="/", key=None, by=None)
    new = [make_new(lot, f"NE-000{number}") for number in (1, 2)]
    postings = [
        Posting(one, kind, mass, day(), as_is_mg=mass)
        for one in new
        for kind, mass in (("received", KG), ("issued", -1000))
    ]
    with django_assert_num_queries(8 + TURN):
        post_first(postings, entry=entry)
    rows = list(Movement.objects.select_related("lot", "entry"))
    assert rows[1] == taken
    assert sealing.head() == (6, by_hand(rows))
    assert said() == []


def make_new(like: Lot, ref: str) -> Lot:
    """Return a lot as another, without a movement."""
    lot = Lot.objects.get(pk=like.pk)
    lot.pk, lot.ref, lot.oven_dry_mg, lot._state.adding = None, ref, 0, True
    lot.save()
    return lot


def test_a_movement_that_is_refused_leaves_no_seal():
    lot = make_lot()
    with pytest.raises(NotEnoughError):
        take_out(lot, as_is_mg=99 * KG, kind="issued", happened_on=day(), why="", by=None)
    entry = enter("take out", "Too much", page="/", key=None, by=None)
    with pytest.raises(NotEnoughError):
        ledger.post(lot, "issued", -99 * KG, happened_on=day(), entry=entry)
    assert Seal.objects.count() == Movement.objects.count() == 1


def test_a_chain_does_not_fork():
    movement = book()[-1]
    with pytest.raises(IntegrityError), transaction.atomic():
        Seal(number=5, movement=movement, digest="0" * 64).save()


def test_names_in_the_book_stay_so_that_it_says_who_did_what():
    anna = make_user(HAND, name="anna")
    anna.username = "annika"
    keep_person(anna, role=HAND, by=None)
    book(by=anna)
    anna.username = "bruno"
    with pytest.raises(StudioError, match=r"annika has entered something.*close this account"):
        keep_person(anna, role=HAND, by=None)
    anna.refresh_from_db()
    assert anna.username == "annika"
    assert said() == []
    # Whatever else is changed of the account is none of the ledger's.
    keep_person(anna, role=OWNER, by=None)
    assert said() == []


# --- what the audit says ------------------------------------------------------------------------


def test_the_audit_names_the_row_its_day_and_who_entered_it():
    row = book(by=make_user(HAND, name="anna"))[2]
    entered = timezone.localtime(row.entry.recorded_at)
    changed("UPDATE fibres_movement SET why = 'Envelopes' WHERE id = %s", row.pk)
    assert said() == [
        f"movement {row.pk} of {row.lot.ref}, entered {entered.day} {entered:%b %Y} by anna: "
        "is not what was sealed: it was changed, or the row before it"
    ]


def test_a_mass_is_found_whose_balance_was_put_right_as_well():
    row = book()[0]
    changed("UPDATE fibres_movement SET oven_dry_mg = oven_dry_mg + 1 WHERE id = %s", row.pk)
    Lot.objects.filter(pk=row.lot_id).update(oven_dry_mg=row.lot.oven_dry_mg + 1)
    (fault,) = said()
    assert fault.startswith(f"movement {row.pk} of {row.lot.ref}, entered ")
    assert "by the command line: is not what was sealed" in fault


def test_a_removed_row_is_found_at_the_one_after():
    rows = book()
    changed("DELETE FROM fibres_seal WHERE movement_id = %s", rows[1].pk)
    changed("DELETE FROM fibres_movement WHERE id = %s", rows[1].pk)
    Lot.objects.filter(pk=rows[1].lot_id).update(oven_dry_mg=0)
    (fault,) = said()
    assert fault.startswith(f"movement {rows[2].pk} of {rows[2].lot.ref}, ")
    assert fault.endswith("is sealed as number 3, and number 2 is gone")


def test_a_row_slipped_in_has_no_seal():
    row = book()[-1]
    columns = "lot_id, kind, oven_dry_mg, as_is_mg, moisture, happened_on, why, entry_id"
    changed(
        f"INSERT INTO fibres_movement ({columns}) SELECT {columns} FROM fibres_movement "
        "WHERE id = %s",
        row.pk,
    )
    last = Movement.objects.latest("pk")
    assert any(
        fault.startswith(f"movement {last.pk} of {last.lot.ref}, ")
        and fault.endswith("has no seal, so it was entered behind the program's back")
        for fault in said()
    )


@pytest.mark.skipif(connection.vendor != "sqlite", reason="keeps no such thing in the column")
@pytest.mark.parametrize(
    ("table", "column", "value"),
    [("fibres_movement", "happened_on", "2026-13-45"), ("fibres_movement", "happened_on", "soon"),
     ("fibres_movement", "moisture", "wet"), ("studio_entry", "recorded_at", "yesterday"),
     ("fibres_movement", "oven_dry_mg", "12kg"), ("fibres_movement", "oven_dry_mg", b"\xff")],
)  # fmt: skip
def test_a_row_that_cannot_be_read_is_found_and_those_beside_it_hold(table, column, value):
    rows = book()
    row = rows[2]
    key = row.pk if table == "fibres_movement" else row.entry_id
    changed(f"UPDATE {table} SET {column} = %s WHERE id = %s", value, key)
    assert [name.split(" of ")[0].split(",")[0] for name, _ in sealing.faults()] == [
        f"movement {row.pk}"
    ]


@pytest.mark.skipif(connection.vendor != "sqlite", reason="numbers leave gaps there")
def test_last_rows_that_are_gone_are_found_by_the_numbers_given_out():
    rows = book()
    # What is left of the lot is as if the last two had never been.
    changed("DELETE FROM fibres_seal WHERE movement_id >= %s", rows[3].pk)
    changed("DELETE FROM fibres_movement WHERE id >= %s", rows[3].pk)
    Lot.objects.filter(pk=rows[0].lot_id).update(oven_dry_mg=92 * KG // 10 - 920_000)
    last = rows[4].pk
    assert said()[0] == (
        f"table fibres_movement: has given out number {last} and ends at {rows[2].pk}: its last "
        "rows are gone"
    )


def test_a_seal_without_its_movement_is_found():
    rows = book()
    # The row stays, of no use to the chain: it is the number that is looked at.
    changed("UPDATE fibres_seal SET number = 9 WHERE movement_id = %s", rows[4].pk)
    assert [fault for _, fault in sealing.faults()] == [
        "is sealed as number 9, and numbers 5 to 8 are gone"
    ]


# --- a seal that was noted ----------------------------------------------------------------------


def test_what_is_entered_while_the_audit_reads_is_no_fault(monkeypatch):
    lot = book()[0].lot
    read = sealing.links

    def interrupted(using: str) -> Any:
        yield from read(using)
        take_out(lot, as_is_mg=KG, kind=Movement.Kind.ISSUED, happened_on=day(1), why="", by=None)

    monkeypatch.setattr(sealing, "links", interrupted)
    assert list(sealing.faults()) == []


def test_a_noted_seal_stays_true_while_the_book_grows():
    book()
    noted = Noted.read(audit().seal)
    assert noted.number == 5
    make_lot()
    assert audit(noted=noted).faults == []
    out = StringIO()
    call_command("audit", seal=str(noted).upper(), stdout=out)
    assert f"No movement up to seal {noted} was changed since it was noted." in out.getvalue()
    assert f"The last seal is {sealing.head().noted}. Note it down" in out.getvalue()


def test_a_seal_of_an_empty_book_holds():
    noted = Noted.read(audit().seal)
    assert noted.number == 0
    book()
    assert audit(noted=noted).faults == []


def test_a_rewritten_history_whose_seals_were_made_anew_is_found_by_the_noted_one_alone():
    row = book()[0]
    noted = Noted.read(audit().seal)
    with resealed(), connection.cursor() as cursor:
        cursor.execute("UPDATE fibres_movement SET why = 'x' WHERE id = %s", [row.pk])
    assert said() == []
    now = audit().seal
    assert [str(fault) for fault in audit(noted=noted).faults] == [
        f"seal {noted}: was noted, and it is {now} now: the ledger was changed up to there since"
    ]
    with pytest.raises(CommandError, match=r"1 fault found\."):
        call_command("audit", seal=str(noted), stdout=StringIO())


def test_a_tail_that_was_cut_off_and_hidden_is_found_by_the_noted_seal_alone():
    rows = book()
    noted = Noted.read(audit().seal)
    with resealed():
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM fibres_movement WHERE id >= %s", [rows[3].pk])
        Lot.objects.filter(pk=rows[0].lot_id).update(oven_dry_mg=92 * KG // 10 - 920_000)
    assert said() == []
    assert [str(fault) for fault in audit(noted=noted).faults] == [
        f"seal {noted}: was noted, and the ledger ends at seal 3: what was entered after is gone, "
        "or this is an older copy"
    ]


def test_a_seal_that_is_none_is_refused_before_anything_is_read():
    with pytest.raises(CommandError, match="--seal: A noted seal is a number, a dash and 16"):
        call_command("audit", seal="last Tuesday's")


# --- sealing what was there before --------------------------------------------------------------

MIGRATION = import_module("fibres.migrations.0006_seal_what_is_there")


class Editor:
    connection = connection


@pytest.mark.parametrize("at_a_time", [1, 2, 2000])
def test_the_migration_seals_what_is_there_as_the_program_does(monkeypatch, at_a_time):
    book(by=make_user(HAND))
    seals = list(Seal.objects.values_list("number", "movement", "digest"))
    changed("DELETE FROM fibres_seal WHERE number > %s", 0)
    assert len(said()) >= len(seals)
    monkeypatch.setattr(MIGRATION, "AT_A_TIME", at_a_time)
    MIGRATION.seal(apps, Editor)
    assert list(Seal.objects.values_list("number", "movement", "digest")) == seals
    # Once more changes nothing; what came meanwhile unsealed is sealed behind the last.
    MIGRATION.seal(apps, Editor)
    changed("DELETE FROM fibres_seal WHERE number > %s", 3)
    MIGRATION.seal(apps, Editor)
    assert list(Seal.objects.values_list("number", "movement", "digest")) == seals


@pytest.mark.django_db(transaction=True)
def test_the_step_can_be_taken_back_and_again():
    book(by=make_user(HAND))
    head = sealing.head()
    call_command("migrate", "fibres", "0005", verbosity=0)
    call_command("migrate", "fibres", "0004", verbosity=0)
    assert Seal._meta.db_table not in connection.introspection.table_names()
    call_command("migrate", verbosity=0)
    assert sealing.head() == head
    assert audit().faults == []


# --- the clock, and no other door ---------------------------------------------------------------


def test_the_ledger_keeps_its_order_when_the_clock_goes_back(time_machine):
    time_machine.move_to("2026-03-10T12:00:00+00:00")
    lot = make_lot(received_on=date(2026, 3, 1))
    take_out(lot, as_is_mg=KG, kind="issued", happened_on=date(2026, 3, 9), why="", by=None)
    time_machine.move_to("2026-03-08T12:00:00+00:00")
    take_out(lot, as_is_mg=KG, kind="issued", happened_on=date(2026, 3, 8), why="", by=None)
    moments = list(
        Movement.objects.order_by("seal__number").values_list("entry__recorded_at", flat=True)
    )
    assert moments[2] < moments[1] - timedelta(days=1)
    assert list(Movement.objects.values_list("seal__number", flat=True)) == [1, 2, 3]
    assert said() == []


def test_there_is_no_other_door_to_the_ledger(owner_client):
    from studio.checks import every_pattern

    assert not apps.is_installed("django.contrib.admin")
    assert not any("admin" in str(pattern.pattern) for pattern in every_pattern())
    assert owner_client.get("/admin/").status_code == 404
    for name in ("studio", "fibres", "orders"):
        with pytest.raises(ModuleNotFoundError):
            import_module(f"{name}.admin")


def test_moisture_is_sealed_as_the_column_keeps_it():
    lot = make_lot(moisture="0.123457")
    take_out(lot, as_is_mg=KG, kind="issued", happened_on=day(), why="", by=None)
    assert said() == []


@pytest.mark.parametrize("at_a_time", [1, 2, 5, 6])
def test_the_chain_is_read_a_part_at_a_time(monkeypatch, at_a_time):
    rows = book()
    changed("UPDATE fibres_movement SET why = 'x' WHERE id = %s", rows[3].pk)
    monkeypatch.setattr(sealing, "ROWS_AT_A_TIME", at_a_time)
    with CaptureQueriesContext(connection) as asked:
        assert [link.movement for link in sealing.links()] == [row.pk for row in rows]
    # One more look where the last part was full: there may be more behind it.
    assert len(asked) == len(rows) // at_a_time + 1
    assert all(f"LIMIT {at_a_time}" in query["sql"] for query in asked)
    ((name, _),) = sealing.faults()
    assert name.startswith(f"movement {rows[3].pk} of")
