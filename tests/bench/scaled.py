"""Generated studios in folders of their own, and what processes of their own say of them."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from tests.bench.pages import Page

HERE = Path(__file__).parents[2]


def emptied(folder: Path) -> Path:
    """Make a folder with a SQLite database that has its tables and no rows."""
    folder.mkdir()
    run(folder, "manage.py", "migrate", "--verbosity=0")
    return folder


def filled(empty: Path, **sizes: int) -> Path:
    """Fill a copy of an empty studio, which lies beside it, and return its folder."""
    folder = empty.with_name("-".join(map(str, sizes.values())))
    shutil.copytree(empty, folder)
    run(folder, "-m", "tests.bench", *(f"--{name}={size}" for name, size in sizes.items()))
    return folder


def pages_of(folder: Path, *, requests: int) -> dict[str, Page]:
    """Return what the pages of a studio came to, by their names."""
    words = ("--json", f"--requests={requests}", "--seconds=3600")
    told = json.loads(run(folder, "-m", "tests.bench.pages", *words))
    return {one["name"]: Page(**one) for one in told}


def heap_mb(folder: Path, address: str) -> float:
    """Return the most that Python held for one page or file, in a process of its own."""
    found: dict[str, Any] = json.loads(
        run(folder, "-m", "tests.bench.pages", "--heap", "--peak", address)
    )
    return float(found["heap_mb"])


def run(folder: Path, *words: str) -> str:
    """Run Python on the studio in a folder, on SQLite whatever the tests are run on."""
    around = {key: value for key, value in os.environ.items() if key != "HALFSTUFF_DATABASE_URL"}
    told = subprocess.run(
        [sys.executable, *words],
        check=False,
        capture_output=True,
        text=True,
        cwd=HERE,
        env={**around, "HALFSTUFF_DATA": str(folder)},
    )
    assert not told.returncode, told.stderr
    return told.stdout
