import pytest
from django.db import DatabaseError, connection, transaction

from fibres.models import Movement, Seal
from orders.models import AcceptedFigure, QuoteDocument, SheetMovement
from studio import appendonly
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import make_lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def movement():
    return make_lot().movements.get()


def test_ledger_and_entry_book_are_guarded():
    assert set(appendonly.guarded_models()) == {
        Entry,
        Movement,
        Seal,
        SheetMovement,
        AcceptedFigure,
        QuoteDocument,
    }
    assert appendonly.missing() == []


@pytest.mark.parametrize(
    "act",
    [
        lambda row: row.save(),
        lambda row: row.delete(),
        lambda row: Movement.objects.update(why="x"),
        lambda row: Movement.objects.all().delete(),
        lambda row: Movement.objects.bulk_update([row], ["why"]),
        lambda row: row.lot.movements.update(why="x"),
    ],
    ids=["save", "delete", "update", "delete all", "bulk update", "update through the lot"],
)
def test_python_refuses_with_a_sentence_that_says_what_to_do(movement, act):
    with pytest.raises(StudioError, match=r"the ledger is never changed.*Enter a correction"):
        act(movement)


@pytest.mark.parametrize("verb", ["UPDATE {} SET id = id", "DELETE FROM {}"])
@pytest.mark.parametrize("model", [Entry, Movement, Seal])
def test_the_database_refuses_what_python_never_sees(movement, model, verb):
    table = model._meta.db_table
    with (
        pytest.raises(DatabaseError, match=f"{table} only grows"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(verb.format(table))


@pytest.mark.parametrize("column", ["oven_dry_mg", "as_is_mg"])
@pytest.mark.parametrize("wrong", ["12kg", "1.5", "0.5e3x"])
def test_text_in_a_column_of_whole_numbers_is_refused(movement, column, wrong):
    columns = ["lot_id", "kind", "oven_dry_mg", "as_is_mg", "moisture", "happened_on", "why",
               "entry_id"]  # fmt: skip
    copied = ", ".join("%s" if name == column else name for name in columns)
    insert = (
        f"INSERT INTO fibres_movement ({', '.join(columns)}) SELECT {copied} FROM fibres_movement"
    )
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(insert, [wrong])


@pytest.mark.parametrize(
    "lost", ["fibres_movement_no_update", "fibres_movement_no_delete", "the third"]
)
def test_each_lost_trigger_is_missed(lost):
    third = {"sqlite": "fibres_movement_whole_numbers"}.get(
        connection.vendor, "fibres_movement_no_truncate"
    )
    name = third if lost == "the third" else lost
    on = "" if connection.vendor == "sqlite" else " ON fibres_movement"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{on}")
    assert appendonly.missing() == ["fibres_movement"]
    appendonly.install()
    assert appendonly.missing() == []


def test_triggers_stay_where_new_ones_cannot_be_made(monkeypatch):
    real = appendonly.triggers_of

    def broken(connection, model):
        return {**real(connection, model), f"{model._meta.db_table}_no_update": "no such words"}

    with monkeypatch.context() as patched:
        patched.setattr(appendonly, "triggers_of", broken)
        with pytest.raises(DatabaseError):
            appendonly.install()
    assert appendonly.missing() == []


def test_triggers_can_be_taken_off_and_put_back(movement):
    appendonly.remove()
    assert set(appendonly.missing()) == {
        "fibres_movement",
        "fibres_seal",
        "orders_acceptedfigure",
        "orders_quotedocument",
        "orders_sheetmovement",
        "studio_entry",
    }
    appendonly.install()
    assert appendonly.missing() == []
