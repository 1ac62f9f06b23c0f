import uuid

import pytest
from django.contrib.auth.models import AnonymousUser
from django.db import IntegrityError, OperationalError, connection, transaction
from django.test.utils import CaptureQueriesContext

from studio.entries import TURN, AlreadyEnteredError, acting, enter, refuse_repeat
from studio.models import Counter, Entry

pytestmark = pytest.mark.django_db

KEY = uuid.UUID("6f2c2b3e-8a1d-4a8e-9a51-0d2f6f0c7b11")


def entered(**changes):
    given = {"act": "test", "said": "Tested", "page": "/", "key": KEY, "by": None, **changes}
    return enter(given.pop("act"), given.pop("said"), **given)


def test_entry_keeps_who_and_what(owner):
    entry = entered(by=owner)
    assert (entry.act, entry.said, entry.page, entry.by) == ("test", "Tested", "/", owner)
    assert entry.who == owner.get_username()
    assert str(entry) == "Tested"


@pytest.mark.parametrize("by", [None, AnonymousUser()], ids=["nobody", "anonymous"])
def test_entry_of_nobody_is_the_command_lines(by):
    assert entered(by=by).who == "command line"


def test_same_key_again_is_told_of_the_first_entry_and_writes_nothing():
    first = entered()
    with pytest.raises(AlreadyEnteredError, match="Tested") as told:
        entered(said="Tested again")
    assert told.value.entry == first
    assert Entry.objects.count() == 1


def test_repeat_is_refused_before_any_reading():
    refuse_repeat(KEY)
    first = entered()
    with pytest.raises(AlreadyEnteredError) as told:
        refuse_repeat(KEY)
    assert told.value.entry == first


def test_without_a_key_each_entry_has_its_own():
    assert entered(key=None).request_key != entered(key=None).request_key


def test_refused_entry_leaves_the_callers_transaction_usable():
    entered()
    with transaction.atomic():
        with pytest.raises(AlreadyEnteredError):
            entered()
        assert entered(key=uuid.uuid4()).pk


def test_other_breach_of_the_table_is_not_taken_for_a_repeat(monkeypatch):
    def broken(*args, **kwargs):
        raise IntegrityError("some other rule")

    monkeypatch.setattr(Entry.objects, "create", broken)
    with pytest.raises(IntegrityError, match="some other rule"):
        entered()


def test_long_sentence_is_cut_to_the_column():
    assert len(entered(said="x" * 300).said) == 200


def test_counter_counts_each_name_by_itself():
    assert [Counter.next("lot"), Counter.next("lot"), Counter.next("quote")] == [1, 2, 1]
    assert str(Counter.objects.get(name="lot")) == "lot 2"


# --- one act after another ----------------------------------------------------------------------


def test_an_act_that_fails_leaves_nothing_of_itself_nor_of_the_act_within():
    @acting()
    def failing():
        with acting():
            entered()
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        failing()
    assert not Entry.objects.exists()
    with acting():
        entered()
    assert Entry.objects.count() == 1


on_postgresql = pytest.mark.skipif(
    connection.vendor != "postgresql", reason="SQLite lets one write at a time by itself"
)


@on_postgresql
def test_the_turn_is_asked_for_once_and_before_all_else():
    with CaptureQueriesContext(connection) as asked, acting():
        with acting():
            entered()
        entered(key=None)
    turns = [at for at, query in enumerate(asked) if "pg_advisory_xact_lock" in query["sql"]]
    # Behind the savepoint alone, as the test runs in a transaction itself.
    assert turns == [1]


@on_postgresql
@pytest.mark.django_db(transaction=True)
def test_an_act_waits_for_another_and_does_not_hang_for_ever():
    import psycopg

    with connection.cursor() as cursor:
        cursor.execute("SHOW lock_timeout")
        assert cursor.fetchone() == ("1min",)
        cursor.execute("SET lock_timeout = '300ms'")
    given = connection.get_connection_params()
    kept = {name: given[name] for name in ("dbname", "user", "password", "host", "port")}
    with psycopg.connect(**kept) as other:
        other.execute("SELECT pg_advisory_xact_lock(%s)", [TURN])
        with pytest.raises(OperationalError, match="lock timeout"), acting():
            entered()
    assert not Entry.objects.exists()
    with acting():
        entered()
    assert Entry.objects.count() == 1
    connection.close()
