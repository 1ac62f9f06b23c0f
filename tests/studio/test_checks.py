from pathlib import Path

import pytest
from django.db import DatabaseError, OperationalError, connection
from django.urls import path

from studio import appendonly, checks, database, mounts
from studio import settings as written
from studio.copies import inuse
from studio.roles import needs


def ids(found):
    return [fault.id for fault in found]


def undeclared(request):
    raise AssertionError


@needs("read")
def declared(request):
    raise AssertionError


def test_every_view_of_the_house_declares_its_need():
    assert checks.views_declare_needs() == []


def test_view_that_declares_no_need_is_an_error(monkeypatch):
    found = [path("quiet/", undeclared), path("told/", declared)]
    monkeypatch.setattr(checks, "every_pattern", lambda: found)
    faults = checks.views_declare_needs()
    assert ids(faults) == ["studio.E001"]
    assert "quiet/" in faults[0].msg


def test_folder_that_takes_no_entries_is_an_error(settings, tmp_path):
    assert checks.data_folder_is_writable() == []
    settings.DATA_DIR = tmp_path / "gone"
    faults = checks.data_folder_is_writable()
    assert ids(faults) == ["studio.E002"]
    assert str(tmp_path) in faults[0].msg


@pytest.mark.parametrize(
    ("vendor", "age", "asked", "told"),
    [
        ("sqlite", "delete", "", ["studio.W001"]),
        ("sqlite", "delete", "delete", []),
        ("sqlite", "wal", "", []),
        ("postgresql", "delete", "", []),
    ],
)
def test_slower_journal_is_told_where_nobody_asked_for_it(monkeypatch, vendor, age, asked, told):
    monkeypatch.setattr(connection, "vendor", vendor, raising=False)
    monkeypatch.setattr(database, "journal_mode", lambda: age)
    monkeypatch.setenv("HALFSTUFF_SQLITE_JOURNAL", asked)
    assert ids(checks.journal_mode_is_told(databases=["default"])) == told


@pytest.mark.parametrize(("journal", "why"), [("wal", "memory"), ("delete", "locks")])
def test_database_on_a_network_drive_is_told_with_the_way_out(monkeypatch, tmp_path, journal, why):
    monkeypatch.setattr(inuse, "file_of", lambda _: tmp_path / "halfstuff.sqlite3")
    monkeypatch.setenv("HALFSTUFF_SQLITE_JOURNAL", journal)
    assert checks.database_is_on_this_machine() == []
    monkeypatch.setattr(mounts, "kind_of", lambda folder: "nfs4" if folder == tmp_path else "")
    [fault] = checks.database_is_on_this_machine()
    assert fault.id == "studio.W004"
    assert f"{tmp_path} is nfs4" in fault.msg
    assert why in fault.msg
    assert "HALFSTUFF_DATA" in fault.hint


def test_disk_is_not_asked_after_where_the_database_is_no_file(monkeypatch):
    monkeypatch.setattr(inuse, "file_of", lambda _: None)
    monkeypatch.setattr(mounts, "kind_of", lambda folder: "nfs4")
    assert checks.database_is_on_this_machine() == []


@pytest.mark.parametrize("file", [None, Path("/mill/halfstuff.sqlite3")])
def test_database_that_cannot_be_reached_is_told_once_and_why(monkeypatch, file):
    class Away:
        vendor = "postgresql"

        def ensure_connection(self):
            raise OperationalError("connection failed: refused\n\tIs the server running?\n")

        def cursor(self):
            raise AssertionError("it is asked again")

    monkeypatch.setattr(checks, "connections", {"default": Away()})
    monkeypatch.setattr(inuse, "file_of", lambda _: file)
    [fault] = checks.database_is_sound(["default"])
    assert fault.id == "studio.E004"
    assert fault.msg == "The database cannot be reached: connection failed: refused."
    assert (str(file) if file else "HALFSTUFF_DATABASE_URL") in fault.hint


@pytest.mark.django_db
def test_database_that_answers_is_asked_the_rest(monkeypatch):
    monkeypatch.setenv("HALFSTUFF_SQLITE_JOURNAL", "delete")
    assert checks.database_is_sound(["default"]) == []
    assert checks.database_is_sound() == []
    appendonly.remove()
    assert set(ids(checks.database_is_sound(["default"]))) == {"studio.E003"}


@pytest.mark.django_db
def test_lost_triggers_are_an_error_that_names_the_table():
    assert checks.triggers_are_there(["default"]) == []
    appendonly.remove()
    faults = checks.triggers_are_there(["default"])
    assert ids(faults) == ["studio.E003"] * len(appendonly.guarded_models())
    assert {model._meta.db_table for model in appendonly.guarded_models()} == {
        table for fault in faults for table in fault.msg.replace(":", " ").split() if "_" in table
    }


def test_triggers_are_not_looked_for_where_no_database_was_named():
    assert checks.triggers_are_there() == []


def test_database_that_does_not_answer_is_left_to_other_checks(monkeypatch):
    def silent(alias):
        raise DatabaseError

    monkeypatch.setattr(appendonly, "missing", silent)
    assert checks.triggers_are_there(["default"]) == []


@pytest.mark.parametrize(("given", "flag"), [("1", True), ("0", False), ("", False)])
def test_flag_of_the_environment_is_read(monkeypatch, given, flag):
    monkeypatch.setenv("HALFSTUFF_HTTPS", given)
    assert written.env_flag("HALFSTUFF_HTTPS") is flag


def test_other_value_of_a_flag_stops_the_program(monkeypatch):
    monkeypatch.setenv("HALFSTUFF_HTTPS", "yes")
    with pytest.raises(SystemExit, match="HALFSTUFF_HTTPS must be 1 or 0, got 'yes'"):
        written.env_flag("HALFSTUFF_HTTPS")


def test_no_host_is_let_in_unnamed():
    assert "*" not in written.ALLOWED_HOSTS
