import pytest
from django.db import DatabaseError, connection
from django.urls import path

from studio import appendonly, checks, database
from studio import settings as written
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
