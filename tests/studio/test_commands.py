"""Options that cannot be read and a database that is not there: one line, exit 1."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

COMMANDS = [
    "cover",
    "cost C-001",
    "snapshot",
    "audit",
    "load_reference",
    "log_scrap --donor A --class x --mass 1kg",
]


def run(folder: Path, command: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "HALFSTUFF_DATA": str(folder)}
    environment.pop("HALFSTUFF_DATABASE_URL", None)
    return subprocess.run(
        [sys.executable, "manage.py", *command.split()],
        cwd=settings.BASE_DIR,
        env=environment,
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
