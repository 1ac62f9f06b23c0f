"""Options that cannot be read, a database that is not there, output that nobody reads, waiting."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management.base import OutputWrapper

from studio import commands
from tests.orders.plans import lot, plan, promise

COMMANDS = [
    "cover",
    "cost C-001",
    "snapshot",
    "audit",
    "load_reference",
    "log_scrap --donor A --class x --mass 1kg",
]


def environment_of(folder: Path) -> dict[str, str]:
    environment = {**os.environ, "HALFSTUFF_DATA": str(folder)}
    environment.pop("HALFSTUFF_DATABASE_URL", None)
    return environment


def run(folder: Path, command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *command.split()],
        cwd=settings.BASE_DIR,
        env=environment_of(folder),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.parametrize("command", COMMANDS)
def test_command_before_there_is_a_studio_says_how_to_start_one(tmp_path, command):
    done = run(tmp_path, command)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "manage.py" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_demo_asked_for_before_it_is_made_says_how_to_make_it(tmp_path):
    done = run(tmp_path, "cover --demo")
    assert done.returncode == 1
    assert done.stderr.strip() == (
        "CommandError: There is no demo yet. Make it with “manage.py demo --no-serve”."
    )


def test_demo_answers_where_it_is_asked_for_and_leaves_the_studio_alone(tmp_path):
    assert run(tmp_path, "demo --no-serve").returncode == 0
    done = run(tmp_path, "cover C-003 --demo")
    assert "0.360\u00a0kg oven-dry of" in done.stdout
    assert run(tmp_path, "cover C-003").returncode == 1


@pytest.mark.parametrize("command", ["cover --bogus", "cost", "sheets --size"])
def test_options_that_cannot_be_read_are_refused_in_one_line(tmp_path, command):
    done = run(tmp_path, command)
    assert done.returncode == 1
    assert len(done.stderr.strip().splitlines()) == 1
    assert "--help” lists the options" in done.stderr


# --- output that nobody reads to its end -------------------------------------------------------


def run_unread(
    folder: Path, *command: str, both: bool = False, held_back: bool = True
) -> tuple[int, str]:
    """Run a command whose output goes into a pipe that is closed at its other end."""
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [sys.executable, "manage.py", *command],
            cwd=settings.BASE_DIR,
            env=environment_of(folder) | {"PYTHONUNBUFFERED": "" if held_back else "1"},
            stdout=writing,
            stderr=writing if both else subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
        )
    finally:
        os.close(writing)
    return done.returncode, done.stderr or ""


@pytest.mark.parametrize(
    ("promises", "options", "held_back"),
    [(1, [], True), (1, ["--strict"], True), (400, [], True), (1, [], False)],
    ids=["at the end", "with an exit code of its own", "while it prints", "at the first line"],
)
def test_command_ends_quietly_where_nobody_reads_on(tmp_path, promises, options, held_back):
    refs = [f"C{n}" for n in range(promises)]
    file = tmp_path / "plan.json"
    file.write_text(json.dumps(plan([lot()], [promise(ref=ref, need=10**9) for ref in refs])))
    found = run_unread(tmp_path, "cover", "--snapshot", str(file), *options, held_back=held_back)
    assert found == (commands.NOBODY_READS, "")


@pytest.mark.parametrize("held_back", [True, False])
def test_refusal_that_nobody_reads_ends_quietly_too(tmp_path, held_back):
    code, _ = run_unread(tmp_path, "cover", "--bogus", both=True, held_back=held_back)
    assert code == commands.NOBODY_READS


# --- waiting -----------------------------------------------------------------------------------


class Terminal(io.StringIO):
    def isatty(self):
        return True


def wait_until(is_so, most_s=5.0):
    ends = time.monotonic() + most_s
    while not is_so() and time.monotonic() < ends:
        time.sleep(0.01)
    return is_so()


def test_waiting_tells_the_seconds_on_one_line_and_takes_it_away():
    err = Terminal()
    with commands.waiting(OutputWrapper(err)):
        time.sleep(0.5)
        assert err.getvalue() == ""
        assert wait_until(lambda: err.getvalue().count("Working it out") == 2)
    # Which seconds are told hangs on how busy the machine is.
    assert re.fullmatch(r"(\rWorking it out, [1-9] s){2,}\r\033\[K", err.getvalue())


def test_waiting_that_is_short_says_nothing():
    err = Terminal()
    with commands.waiting(OutputWrapper(err)):
        pass
    assert err.getvalue() == ""


def test_waiting_says_nothing_where_nobody_looks(monkeypatch):
    monkeypatch.setattr(commands, "PATIENCE_S", 0.01)
    err = io.StringIO()
    with commands.waiting(OutputWrapper(err)):
        time.sleep(0.1)
    assert err.getvalue() == ""


def test_fault_while_waiting_leaves_no_line_behind(monkeypatch):
    monkeypatch.setattr(commands, "PATIENCE_S", 0.01)
    err = Terminal()

    def fails():
        with commands.waiting(OutputWrapper(err), "Looking"):
            assert wait_until(lambda: "Looking" in err.getvalue())
            raise ValueError("no good")

    with pytest.raises(ValueError, match="no good"):
        fails()
    told = err.getvalue()
    assert told.endswith("\r\033[K")
    time.sleep(0.05)
    assert err.getvalue() == told
