"""The audit finds each thing that cannot be right, planted behind the ledger's back."""

from __future__ import annotations

import json
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from fibres import audit as auditing
from fibres.audit import audit
from fibres.models import Lot, Movement
from fibres.sealing import head
from fibres.services import correct, take_out
from fibres.services import weigh_moisture as enter_moisture_test
from studio import appendonly
from tests.builders import KG, day, make_lot
from tests.sealed import resealed

pytestmark = pytest.mark.django_db


def worked_lot() -> Lot:
    """Return a lot with every kind of movement that services write today.

    10 kg at 8 % is 9.2 kg oven-dry; 1 kg goes out and is put right to 2 kg; then 10 % is weighed.
    """
    lot = make_lot()
    issued = take_out(
        lot, as_is_mg=KG, kind=Movement.Kind.ISSUED, happened_on=day(20), why="", by=None
    )
    correct(issued, as_is_mg=2 * KG, happened_on=day(19), why="Misread", by=None)
    enter_moisture_test(lot, wet_mg=100_000, dry_mg=90_000, tare_mg=0, tested_on=day(18), by=None)
    lot.refresh_from_db()
    return lot


def plant(statement: str, *values: Any) -> None:
    """Change rows as no service would, and hide it from the chain of seals."""
    with resealed(), connection.cursor() as cursor:
        cursor.execute(statement, values)


def said() -> list[str]:
    return [str(fault) for fault in audit().faults]


sqlite_only = pytest.mark.skipif(
    connection.vendor != "sqlite", reason="plants faults that PostgreSQL refuses at the write"
)


def test_an_empty_store_has_no_fault() -> None:
    found = audit()
    assert (found.lots, found.movements, found.faults) == (0, 0, [])


def test_what_services_write_has_no_fault() -> None:
    worked_lot()
    make_lot()
    found = audit()
    assert (found.lots, found.movements) == (2, Movement.objects.count())
    assert found.faults == []


def test_a_balance_that_is_not_the_sum_is_found() -> None:
    lot = worked_lot()
    # (10 − 2) kg as is at 10 % weighed moisture is 7.2 kg oven-dry.
    Lot.objects.filter(pk=lot.pk).update(oven_dry_mg=7_200_001)
    assert said() == [
        f"lot {lot.ref}: holds 7,200,001 mg by its balance and 7,200,000 mg by its movements"
    ]


def test_a_lot_without_movements_has_to_be_empty() -> None:
    lot = make_lot()
    plant("DELETE FROM fibres_movement")
    assert said() == [
        f"lot {lot.ref}: holds 9,200,000 mg by its balance and 0 mg by its movements"
    ]


@sqlite_only
@pytest.mark.parametrize(
    ("kind", "mass", "sentence"),
    [
        ("received", -5, "is received, which goes in, and is -5 mg"),
        ("returned", 0, "is returned, which goes in, and is 0 mg"),
        ("issued", 5, "is issued, which goes out, and is 5 mg"),
        ("discarded", 0, "is discarded, which goes out, and is 0 mg"),
        ("lost", 5, "is of a kind that there is not: lost"),
    ],
)
def test_a_movement_that_goes_the_wrong_way_is_found(kind: str, mass: int, sentence: str) -> None:
    lot = worked_lot()
    last = lot.movements.latest("pk")
    plant(
        "UPDATE fibres_movement SET kind = %s, oven_dry_mg = %s, as_is_mg = NULL WHERE id = %s",
        kind, mass, last.pk,
    )  # fmt: skip
    assert f"movement {last.pk} of {lot.ref}: {sentence}" in said()


@sqlite_only
def test_as_is_and_oven_dry_of_different_sign_are_found() -> None:
    lot = worked_lot()
    first = lot.movements.earliest("pk")
    plant("UPDATE fibres_movement SET as_is_mg = -7 WHERE id = %s", first.pk)
    assert said() == [
        f"movement {first.pk} of {lot.ref}: is -7 mg as is and 9,200,000 mg oven-dry, "
        "which part in sign"
    ]


@sqlite_only
def test_a_mass_that_is_not_whole_is_found() -> None:
    lot = worked_lot()
    first = lot.movements.earliest("pk")
    plant("UPDATE fibres_movement SET oven_dry_mg = 9200000.5 WHERE id = %s", first.pk)
    assert (
        f"movement {first.pk} of {lot.ref}: is not a whole number of milligrams: 9200000.5"
        in said()
    )


@sqlite_only
def test_a_lot_that_stood_below_zero_is_found_though_it_came_back() -> None:
    lot = worked_lot()
    first, last = lot.movements.earliest("pk"), lot.movements.latest("pk")
    # 10 kg goes from the first movement to the last: the sum stays, the way there does not.
    plant(
        "UPDATE fibres_movement SET oven_dry_mg = oven_dry_mg - %s WHERE id = %s",
        10 * KG,
        first.pk,
    )
    plant(
        "UPDATE fibres_movement SET oven_dry_mg = oven_dry_mg + %s WHERE id = %s", 10 * KG, last.pk
    )
    assert f"movement {first.pk} of {lot.ref}: leaves the lot at −0.800\u00a0kg" in said()
    assert not any(fault.startswith(f"lot {lot.ref}") for fault in said())


def reversal(lot: Lot) -> Movement:
    return lot.movements.get(reverses__isnull=False)


@sqlite_only
def test_a_reversal_that_does_not_cancel_is_found() -> None:
    lot = worked_lot()
    back = reversal(lot)
    plant("UPDATE fibres_movement SET oven_dry_mg = oven_dry_mg + 1 WHERE id = %s", back.pk)
    Lot.objects.filter(pk=lot.pk).update(oven_dry_mg=lot.oven_dry_mg + 1)
    assert said() == [
        f"movement {back.pk} of {lot.ref}: takes back movement {back.reverses_id} of -920,000 mg "
        "by 920,001 mg"
    ]


@sqlite_only
def test_a_reversal_of_a_reversal_is_found() -> None:
    lot = worked_lot()
    back, last = reversal(lot), lot.movements.latest("pk")
    plant("UPDATE fibres_movement SET reverses_id = %s WHERE id = %s", back.pk, last.pk)
    assert (
        f"movement {last.pk} of {lot.ref}: takes back movement {back.pk}, which takes one back "
        "itself" in said()
    )


@sqlite_only
def test_a_reversal_of_another_lots_movement_is_found() -> None:
    lot = worked_lot()
    other = make_lot().movements.get()
    back = reversal(lot)
    plant("UPDATE fibres_movement SET reverses_id = %s WHERE id = %s", other.pk, back.pk)
    assert (
        f"movement {back.pk} of {lot.ref}: takes back movement {other.pk}, which is of another lot"
        in said()
    )


@sqlite_only
def test_a_reversal_that_is_no_correction_is_found() -> None:
    lot = worked_lot()
    back = reversal(lot)
    plant("UPDATE fibres_movement SET kind = 'counted' WHERE id = %s", back.pk)
    assert (
        f"movement {back.pk} of {lot.ref}: takes back movement {back.reverses_id} and is counted, "
        "not corrected" in said()
    )


@pytest.fixture
def loose_keys(transactional_db: None) -> Any:
    """Let rows point at nothing, and clear them away before the tables are emptied."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA foreign_keys = OFF")
    yield
    appendonly.remove()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM fibres_seal")
        cursor.execute("DELETE FROM fibres_movement")
        cursor.execute("PRAGMA foreign_keys = ON")
    appendonly.install()


@sqlite_only
def test_a_movement_without_an_entry_is_found(loose_keys: None) -> None:
    lot = worked_lot()
    first = lot.movements.earliest("pk")
    plant("UPDATE fibres_movement SET entry_id = 9999 WHERE id = %s", first.pk)
    assert said() == [
        f"movement {first.pk} of {lot.ref}: has no entry in the book, so nobody answers for it",
        f"row {first.pk} of fibres_movement: points at a row of studio_entry that is not there",
    ]


@sqlite_only
def test_a_reversal_of_nothing_is_found(loose_keys: None) -> None:
    lot = worked_lot()
    back = reversal(lot)
    plant("UPDATE fibres_movement SET reverses_id = 9999 WHERE id = %s", back.pk)
    assert said()[0] == (
        f"movement {back.pk} of {lot.ref}: takes back movement 9999, which is not there"
    )


@sqlite_only
def test_a_movement_of_no_lot_is_found(loose_keys: None) -> None:
    row = worked_lot().movements.latest("pk").pk
    plant("UPDATE fibres_movement SET lot_id = 9999 WHERE id = %s", row)
    assert (
        f"row {row} of fibres_movement: points at a row of fibres_lot that is not there" in said()
    )


def test_tables_without_their_triggers_are_found() -> None:
    appendonly.remove()
    assert said() == [
        "table studio_entry: has lost its triggers, so its rows could be changed",
        "table fibres_movement: has lost its triggers, so its rows could be changed",
        "table fibres_seal: has lost its triggers, so its rows could be changed",
        "table orders_quotedocument: has lost its triggers, so its rows could be changed",
        "table orders_sheetmovement: has lost its triggers, so its rows could be changed",
        "table orders_acceptedfigure: has lost its triggers, so its rows could be changed",
    ]


def test_what_the_database_says_of_its_own_file_is_passed_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Cursor:
        def __enter__(self) -> Cursor:
            return self

        def __exit__(self, *args: object) -> None:
            return None

        def execute(self, statement: str) -> Cursor:
            self.rows = [("page 7 is never used",)] if "integrity" in statement else []
            return self

        def fetchall(self) -> list[tuple[str]]:
            return self.rows

    class Connection:
        vendor = "sqlite"
        cursor = Cursor

    class Postgres(Connection):
        vendor = "postgresql"

    given = {"default": Connection(), "other": Postgres()}
    monkeypatch.setattr(auditing, "connections", given)
    assert auditing.file_faults("other") == []
    assert [str(fault) for fault in auditing.file_faults()] == [
        "database file: page 7 is never used"
    ]


@pytest.mark.parametrize("lots", [1, 20])
def test_the_audit_asks_the_same_number_of_questions_whatever_it_reads(
    lots: int, django_assert_num_queries: Any
) -> None:
    for _ in range(lots):
        worked_lot()
    # Lots with their movements; what came of purchases; the last seal, the chain and what is
    # loose behind it; the triggers; on SQLite twice two questions about the last rows, and the
    # two looks at the file.
    with django_assert_num_queries(13 if connection.vendor == "sqlite" else 7):
        assert audit().lots == lots


def test_the_command_says_that_all_is_right() -> None:
    lot = worked_lot()
    out = StringIO()
    call_command("audit", stdout=out)
    assert out.getvalue() == (
        f"1 lot, {lot.movements.count()} movements: every balance is the sum of its movements. "
        f"The last seal is {head().noted}. Note it down: audit --seal proves this state.\n"
    )


def test_the_command_names_every_faulty_row_and_fails() -> None:
    lots = [make_lot(), make_lot()]
    Lot.objects.update(oven_dry_mg=1)
    out = StringIO()
    with pytest.raises(CommandError, match=r"2 faults found\."):
        call_command("audit", stdout=out)
    assert [line.split(":")[0] for line in out.getvalue().splitlines()] == [
        f"lot {lot.ref}" for lot in lots
    ]


def test_json_holds_the_same() -> None:
    lot = make_lot()
    Lot.objects.update(oven_dry_mg=1)
    out = StringIO()
    with pytest.raises(CommandError, match=r"1 fault found\."):
        call_command("audit", json=True, stdout=out)
    assert json.loads(out.getvalue()) == {
        "lots": 1,
        "movements": 1,
        "arrivals": 0,
        "makings": 0,
        "sealed": 1,
        "seal": head().noted,
        "faults": [
            {
                "row": f"lot {lot.ref}",
                "fault": "holds 1 mg by its balance and 9,200,000 mg by its movements",
            }
        ],
    }


def test_a_database_without_a_store_is_said_to_be_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection.introspection, "table_names", lambda: ["other"])
    with pytest.raises(CommandError, match=r"Run manage\.py serve once"):
        call_command("audit")


def test_a_database_from_before_the_seals_is_said_to_be_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    tables = [name for name in connection.introspection.table_names() if name != "fibres_seal"]
    monkeypatch.setattr(connection.introspection, "table_names", lambda: tables)
    with pytest.raises(CommandError, match=r"of an older release\. Run manage\.py upgrade"):
        call_command("audit")
