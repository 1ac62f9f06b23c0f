"""A copy made while others write is whole, and holds all that was acknowledged before it."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.builders import KG
from tests.faults.place import ROOT, Place

pytestmark = pytest.mark.faults

WRITERS = 3


def test_copies_made_under_writers_are_sound_and_complete(place: Place):
    copies = 5 if place.url else 25
    lot = place.run("prepare", as_is_mg=1000 * KG, moisture="0.08")["lot"]

    told = place.run("copy_under_writers", lot=lot, copies=copies, writers=WRITERS, seed=9)

    assert told["copies"] == copies
    assert told["acknowledged"] >= WRITERS
    assert told["faults"] == []
    assert told["lacking"] == 0
    assert told["writers_died"] == 0
    assert told["left_over"] == []
    assert place.unsound() == []
    if not place.url:
        # What holds writers up is a part of this; on an idle machine it is some hundredths.
        assert told["median_s"] < 3


def test_copy_of_postgresql_comes_back_as_a_new_database(place: Place):
    if not place.url:
        pytest.skip("a file is put back in tests/orders/test_restore.py")
    lot = place.run("prepare", as_is_mg=10 * KG, moisture="0.08")["lot"]
    place.run("take", lot=lot, times=20, most_mg=1000, seed=3)
    entries = len(place.entry_keys())
    copied = manage(place, "backup")
    assert copied.returncode == 0, copied.stderr
    file = copied.stdout.partition(": ")[0]
    place.run("take", lot=lot, times=5, most_mg=1000, seed=4)

    new = f"{place.url.rpartition('/')[2]}_restored"
    looked = manage(place, "restore", file, "--dry-run")
    assert "can be read to its end" in looked.stdout
    done = manage(place, "restore", file, "--into", new)
    assert done.returncode == 0, done.stderr
    there = Place(place.folder, f"{place.url.rpartition('/')[0]}/{new}")
    try:
        assert len(there.entry_keys()) == entries
        assert len(place.entry_keys()) == entries + 5
        assert there.unsound() == []
        # A second time the name is taken.
        again = manage(place, "restore", file, "--into", new)
        assert again.returncode == 1
        assert f"There are tables in the database {new} already" in again.stderr
        assert_refused(place, Path(file), f"{new}_2")
    finally:
        drop(place.url, new)


def assert_refused(place: Place, file: Path, name: str) -> None:
    """See damaged copies refused, and no database left of them."""
    content = file.read_bytes()
    mark = Path(f"{file}.sha256")
    for damage, match in (
        (content[: len(content) // 2], "is not as it was made"),
        (content[:-200] + bytes(200), "is not as it was made"),
        (b"Dear Ida, here is the copy.", "is no copy that"),
    ):
        file.write_bytes(damage)
        done = manage(place, "restore", str(file), "--into", name)
        assert done.returncode == 1
        assert match in done.stderr
        assert "Traceback" not in done.stderr
    mark.unlink()
    file.write_bytes(content[: len(content) // 2])
    done = manage(place, "restore", str(file), "--into", name)
    assert "cannot be read to its end" in done.stderr
    query = f"SELECT COUNT(*) FROM pg_database WHERE datname = '{name}'"
    assert place.value(query) == 0


def manage(place: Place, *command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=ROOT,
        env=place.environment(),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def drop(url: str, name: str) -> None:
    import psycopg

    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
