"""The commands for copies: what a person is told, asked and refused."""

from __future__ import annotations

import io
import json
import os
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from orders.management.commands import restore as restore_command
from orders.proving import prove
from studio import serving
from studio.copies import making, sqlitefile, upgrading
from studio.errors import StudioError
from tests.orders.copying import Opened, change, value


@pytest.fixture
def live(live, monkeypatch) -> Path:
    for module in (restore_command, upgrading):
        monkeypatch.setattr(module, "connection", Opened(live))
    return live


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def said(name: str, *args: str, **options) -> str:
    out = io.StringIO()
    call_command(name, *args, stdout=out, stderr=io.StringIO(), **options)
    return out.getvalue()


def test_backup_says_where_what_and_how_it_was_proved(live):
    told = json.loads(said("backup", json=True))
    path = Path(told["file"])
    assert path.parent == live.parent / "backups"
    assert told["size_bytes"] == path.stat().st_size
    assert told["faults"] == told["removed"] == []
    # One movement came in and two went out.
    assert told["seal"].startswith("3-")
    assert told["of"] == str(live)
    text = said("backup", to=str(live.parent))
    assert f"  of         {live}\n" in text
    assert "every balance in it is the sum of its movements (1 lot, 3 movements)." in text
    assert f"last seal  {told['seal']}" in text


def test_second_copy_of_a_day_says_which_one_went(live):
    said("backup")
    [first] = [name for name in os.listdir(live.parent / "backups") if name.endswith("3")]
    why = f"for the newest of 7 days, 5 weeks and 12 months are kept: {first}."
    looked = said("backup", dry_run=True)
    assert f"1 older copy would go, {why}" in looked
    assert looked.endswith("Nothing was written.\n")
    assert f"1 older copy went, {why}" in said("backup")


def test_backup_into_a_folder_that_is_not_there_is_one_line(live, tmp_path):
    with pytest.raises(CommandError, match=r"There is no folder .*usb\. Make it, or plug in"):
        said("backup", to=str(tmp_path / "usb"))


def test_copy_of_a_ledger_with_faults_ends_with_their_names(live):
    change(live, "UPDATE fibres_lot SET oven_dry_mg = oven_dry_mg + 1")
    with pytest.raises(CommandError, match=r"the ledger in it has faults: lot .* No older copy"):
        said("backup")
    assert any(name.endswith(".sqlite3") for name in os.listdir(live.parent / "backups"))


def test_restore_tells_both_books_and_where_the_old_one_lies(live):
    copy = str(making.make(prove=prove).path)
    change(live, "UPDATE studio_studio SET name = 'Later'")
    looked = said("restore", copy, dry_run=True)
    assert "It has 3 entries, the last of " in looked
    assert "The database in use has 3 entries, the last of " in looked
    assert looked.endswith("Nothing was changed.\n")
    assert value(live, "SELECT name FROM studio_studio") == "Later"
    done = said("restore", copy, yes=True)
    assert f"The copy is in its place: {live}." in done
    [aside] = [name for name in os.listdir(live.parent) if "set-aside" in name]
    assert f"What was there is set aside: {live.with_name(aside)}." in done
    assert value(live, "SELECT name FROM studio_studio") != "Later"
    assert value(live.with_name(aside), "SELECT name FROM studio_studio") == "Later"


@pytest.mark.parametrize(
    ("typed", "goes_in"), [("yes\n", True), ("Yes\n", True), ("\n", False), ("no\n", False)]
)
def test_restore_asks_before_it_puts_a_copy_there(live, monkeypatch, typed, goes_in):
    copy = str(making.make(prove=prove).path)
    change(live, "UPDATE studio_studio SET name = 'Later'")
    monkeypatch.setattr("sys.stdin", Terminal(typed))
    if goes_in:
        said("restore", copy)
    else:
        with pytest.raises(CommandError, match="Not restored"):
            said("restore", copy)
    assert (value(live, "SELECT name FROM studio_studio") != "Later") == goes_in


def test_restore_that_can_ask_nobody_changes_nothing(live, monkeypatch):
    copy = str(making.make(prove=prove).path)
    monkeypatch.setattr("sys.stdin", io.StringIO("yes\n"))
    with pytest.raises(CommandError, match=r"Nobody is here to be asked\. Add --yes"):
        said("restore", copy)


def test_restore_without_mark_says_what_that_leaves_open(live):
    made = making.make(prove=prove)
    making.mark_of(made.path).unlink()
    assert "No .sha256 lies beside it" in said("restore", str(made.path), dry_run=True)


def test_restore_over_an_empty_file_says_that_there_is_no_studio_yet(live):
    copy = str(making.make(prove=prove).path)
    live.write_bytes(b"")
    looked = said("restore", copy, dry_run=True)
    assert f"There is no studio in {live} yet." in looked
    assert "cannot be read" not in looked


def test_file_that_cannot_be_opened_is_named_and_not_the_copy(live, monkeypatch):
    copy = str(making.make(prove=prove).path)
    live.with_name(f"{live.name}.in-use").mkdir()
    with pytest.raises(CommandError, match=r"3\.in-use cannot be opened .* not touched\.") as told:
        said("restore", copy, yes=True)
    assert copy not in str(told.value)

    def fail(*args, **kwargs):
        raise PermissionError(13, "Permission denied", str(live))

    monkeypatch.setattr(restore_command.restoring, "prepared", fail)
    with pytest.raises(CommandError, match=rf"^{live} cannot be read: Permission denied\. The "):
        said("restore", copy, yes=True)


def test_copies_of_the_other_engine_are_refused_with_the_way(live, tmp_path, monkeypatch):
    dump = tmp_path / "studio.dump"
    dump.write_bytes(b"PGDMP and more")
    with pytest.raises(CommandError, match=r"copy of a PostgreSQL database.*export_studio"):
        said("restore", str(dump))
    with pytest.raises(CommandError, match="--into is for PostgreSQL"):
        said("restore", str(dump), into="other")
    copy = making.make(prove=prove).path
    monkeypatch.setattr(restore_command.connection, "vendor", "postgresql", raising=False)
    with pytest.raises(CommandError, match="keeps its data in a file, and this one is on"):
        said("restore", str(copy))


# --- a new release -----------------------------------------------------------------------------


@pytest.fixture
def behind(live, monkeypatch):
    """Have the database lack a change of its tables, and note when they are changed."""
    done: list[str] = []
    monkeypatch.setattr(sqlitefile, "is_behind", lambda: True)
    monkeypatch.setattr(serving, "migrate", lambda: done.append("changed"))
    return done


def test_new_release_makes_a_copy_before_it_changes_the_tables(live, behind):
    text = said("upgrade")
    [copy] = [name for name in os.listdir(live.parent / "backups") if name.endswith(".sqlite3")]
    assert copy.startswith("halfstuff-before-upgrade-")
    assert copy in text
    assert behind == ["changed"]
    # It is no copy of a day, so the rule never lets it go.
    assert making.plan(now=timezone.now() + timedelta(days=900)).would_go == ()


def test_without_a_copy_nothing_is_changed_unless_that_is_asked_for(live, behind, monkeypatch):
    def fail(*args, **kwargs):
        raise StudioError("There is not room enough.")

    monkeypatch.setattr(making, "plan", fail)
    with pytest.raises(CommandError, match=r"no copy could be made before: There is not room"):
        said("upgrade")
    assert behind == []
    said("upgrade", without_copy=True)
    assert behind == ["changed"]


def test_database_of_this_release_is_not_copied(live, monkeypatch):
    monkeypatch.setattr(sqlitefile, "is_behind", lambda: False)
    monkeypatch.setattr(serving, "migrate", lambda: None)
    assert said("upgrade") == "The database is up to date with this release.\n"
    assert not (live.parent / "backups").exists()


def test_serve_says_why_it_does_not_start_where_no_copy_can_be_made(live, behind, monkeypatch):
    def fail(*args, **kwargs):
        raise StudioError("There is not room enough.")

    monkeypatch.setattr(making, "plan", fail)
    with pytest.raises(CommandError, match=r"Nothing was changed\. --without-copy goes on"):
        said("serve", port="0")
    assert behind == []


@pytest.mark.django_db
def test_database_that_lacks_a_change_is_told_from_one_that_is_new(monkeypatch):
    assert not sqlitefile.is_behind()
    monkeypatch.setattr(
        "django.db.migrations.executor.MigrationExecutor.migration_plan",
        lambda self, targets: [("a change", False)],
    )
    assert sqlitefile.is_behind()
    monkeypatch.setattr(
        "django.db.backends.base.introspection.BaseDatabaseIntrospection.table_names",
        lambda self, *args, **kwargs: [],
    )
    assert not sqlitefile.is_behind()
