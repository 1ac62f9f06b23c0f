"""A disk that fills up, and one that takes nothing: said in plain words, and nothing is lost."""

from __future__ import annotations

import html
import subprocess
import sys
from pathlib import Path

import pytest

from tests.builders import KG
from tests.faults.place import ROOT, Place
from tests.faults.small_disk import make_read_only, make_writable, small_disk

pytestmark = pytest.mark.faults

# A log ahead takes all that is written, a journal only what is written over.
STEP_KILOBYTES = {"delete": 8, "wal": 32}
FULL = "the disk of the studio’s machine is full"


@pytest.mark.parametrize("journal", ["delete", "wal"])
def test_full_disk_is_said_and_nothing_acknowledged_is_lost(tmp_path: Path, journal: str):
    folder = tmp_path / "disk"
    folder.mkdir()
    # A log ahead grows to four megabytes by itself.
    with small_disk(folder, megabytes={"delete": 3, "wal": 12}[journal]) as is_disk:
        place = Journalled(folder, journal=journal)
        told = place.run("fill_disk", is_disk=is_disk)

        # What the person met: not saved, why, and what was typed.
        assert told["said"] == "database or disk is full"
        page = told["page"]
        text = html.unescape(page["text"])
        assert page["status"] == 507
        assert f"Not saved: {FULL}. What you typed is below." in text
        assert "1.25 kg" in text
        assert "For the wall" in text
        # Reading goes on.
        assert told["read"] == [200, 200]
        # A list enters nothing, and says so in one line.
        assert "is full, so nothing was entered" in told["import"]
        assert told["clients"] == 0
        # A copy is refused before it begins, and leaves nothing where the disk fills under it.
        if is_disk:
            early, late = told["backup"]["said"]
            assert "There is not room enough" in early
            assert "No copy was made" in late
            assert told["backup"]["left"] == []
        # Once there is room it goes on as before.
        assert told["after"] == [""] * 20
        assert told["page_after"] == 302
        assert set(told["acknowledged"]) <= place.entry_keys()
        assert place.unsound() == []


@pytest.mark.parametrize("journal", ["delete", "wal"])
def test_folder_that_takes_nothing_is_named_and_pages_stay_kind(tmp_path: Path, journal: str):
    folder = tmp_path / "disk"
    folder.mkdir()
    with small_disk(folder, megabytes=8) as is_disk:
        if not is_disk and sys.platform.startswith("linux") and _is_root():
            pytest.skip("this account may write everywhere and may not make a disk")
        place = Journalled(folder, journal=journal)
        place.run("prepare", as_is_mg=10 * KG, moisture="0.08")
        make_read_only(folder, is_disk=is_disk)
        try:
            checked, served = manage(place, "check"), manage(place, "serve", "--port", "0")
            told = place.run("look_round")
        finally:
            make_writable(folder, is_disk=is_disk)

        assert checked.returncode == 1
        assert str(folder) in checked.stderr
        assert "cannot be written to" in checked.stderr
        for said in (checked, served):
            assert "Traceback" not in said.stderr + said.stdout
        assert served.returncode == 1
        if told["said"]:
            # In write-ahead mode nothing opens at all.
            assert journal == "wal"
            for status, text in (told["/"], told["post"]):
                assert status == 503
                assert "cannot be reached" in text
                assert "Traceback" not in text
        else:
            assert told["today"] == 200
            assert told["page"]["status"] == 503
            text = html.unescape(told["page"]["text"])
            assert "the studio’s folder on its machine cannot be written to" in text
            assert "1.25 kg" in text
        assert place.unsound() == []


@pytest.mark.parametrize("journal", ["delete", "wal"])
def test_disk_that_fills_while_tables_are_changed_leaves_a_whole_database(
    tmp_path: Path, journal: str
):
    folder = tmp_path / "disk"
    folder.mkdir()
    with small_disk(folder, megabytes=12) as is_disk:
        place = Journalled(folder, journal=journal)
        place.run("prepare", as_is_mg=100 * KG, moisture="0.08")
        before = place.run("migrate_back")

        told = place.run(
            "upgrade_as_the_disk_fills", is_disk=is_disk, step=STEP_KILOBYTES[journal]
        )

        # The disk filled at several places, and each left one of the steps, whole.
        assert told["full"] >= 2
        assert told["half"] == 0
        assert told["ended"] == 0
        assert {0, told["steps"]} <= set(told["reached"])
        # A person is told, and what was there is there.
        with_copy, without = told["said"]
        if is_disk and journal == "delete":
            assert "no copy could be made before: There is not room enough" in with_copy
            assert "Nothing was changed" in with_copy
        elif is_disk:
            # There is not even room to open it in write-ahead mode.
            assert "is full, so nothing was entered" in with_copy
        assert "is full, so nothing was entered" in without
        assert told["is_as_it_was"]
        # Once there is room it is done, and nothing is lost.
        assert told["then"] == ""
        assert told["is_whole"]
        assert told["unguarded"] == []
        assert told["moved"] == before["moved"]
        assert told["entries"] == before["entries"]
        assert told["faults"] == []
        assert place.unsound() == []


class Journalled(Place):
    """A place whose way of writing is given."""

    journal: str

    def __init__(self, folder: Path, *, journal: str) -> None:
        super().__init__(folder)
        object.__setattr__(self, "journal", journal)

    def environment(self) -> dict[str, str]:
        return {**super().environment(), "HALFSTUFF_SQLITE_JOURNAL": self.journal}


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


def _is_root() -> bool:
    import os

    return os.geteuid() == 0
