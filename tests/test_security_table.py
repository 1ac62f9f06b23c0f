"""The security requirements in DEVELOPERS.md: all are there, and what holds each is there too."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from django.conf import settings

from studio.fields.days import FIRST_YEAR, LAST_YEAR
from studio.files import endings, limits
from studio.reading import RULES

ROOT = Path(__file__).resolve().parents[1]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = DEVELOPERS.partition("## Security requirements\n")[2].partition("\n## ")[0]

NUMBER = re.compile(r"[0-9.]+")
# OWASP ASVS 5.0.0, the CSV of the OWASP/ASVS repository: the 70 rows whose column L is 1.
LEVEL_1 = NUMBER.findall("""
1.2.1 1.2.2 1.2.3 1.2.4 1.2.5 1.3.1 1.3.2 1.5.1
2.1.1 2.2.1 2.2.2 2.3.1
3.2.1 3.2.2 3.3.1 3.4.1 3.4.2 3.5.1 3.5.2 3.5.3
4.1.1 4.4.1
5.2.1 5.2.2 5.3.1 5.3.2
6.1.1 6.2.1 6.2.2 6.2.3 6.2.4 6.2.5 6.2.6 6.2.7 6.2.8 6.3.1 6.3.2 6.4.1 6.4.2
7.2.1 7.2.2 7.2.3 7.2.4 7.4.1 7.4.2
8.1.1 8.2.1 8.2.2 8.3.1
9.1.1 9.1.2 9.1.3 9.2.1
10.4.1 10.4.2 10.4.3 10.4.4 10.4.5
11.3.1 11.3.2 11.4.1
12.1.1 12.2.1 12.2.2
13.4.1
14.2.1 14.3.1
15.1.1 15.2.1 15.3.1
""")
# Those of levels 2 and 3 that the house has taken on, or says why not.
MORE = NUMBER.findall("""
1.2.10 1.3.7 1.4.2 2.2.3 2.3.3 2.3.4 3.3.2 3.3.4 3.4.3 3.4.4 3.4.5 3.4.6 5.2.3 5.4.1 5.4.2
6.2.9 6.3.3 7.3.1 7.3.2 8.2.3 13.4.2 15.3.3 15.3.7 16.3.1 16.3.2 16.4.1 16.5.1 16.5.3
""")
ROW = re.compile(r"^\| ([0-9.]+) \| (.+?) \| (.+?) \| (.+) \|$", re.M)
ROWS = ROW.findall(SECTION)
TEST = re.compile(r"`([\w/]+\.py)::(\w+)`")


def test_each_requirement_of_level_1_stands_there_once() -> None:
    assert len(LEVEL_1) == 70
    numbers = [number for number, *_ in ROWS]
    assert numbers == [*LEVEL_1, *MORE]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_requirement_is_met_by_something_or_says_why_not(row: tuple[str, str, str, str]) -> None:
    number, asks, state, how = row
    met = {"met", "met, with script"}
    may = {*met, "not applicable", *({"left out"} if number in MORE else ())}
    assert state in may
    assert 3 < len(asks) < 90
    if state not in met:
        assert how.endswith(".")
        return
    named = TEST.findall(how)
    assert named or number == "15.2.1", "A requirement that is met names the test that holds it."
    assert {f"{file}::{name}" for file, name in named if name not in run_in(file)} == set()


def run_in(file: str) -> set[str]:
    """Return the tests of a file that are run: at its top, and not passed over."""
    path = ROOT / "tests" / file
    if not path.is_file():
        return set()
    return {
        node.name
        for node in ast.parse(path.read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef)
        and node.name.startswith("test_")
        and not any("skip" in ast.unparse(mark) for mark in node.decorator_list)
    }


def said(words: str) -> bool:
    """Tell whether the section says it, wherever its lines are broken."""
    return words in re.sub(r"\s+", " ", SECTION)


def plain(text: str) -> str:
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("kind", RULES)
def test_what_may_be_typed_is_written_as_it_is_read(kind: str) -> None:
    """ASVS 5.0.0, 2.1.1; that it is read so is held by ``tests/hostile/test_numbers.py``."""
    assert said(f"from {plain(RULES[kind].limits)}")


def test_what_days_and_files_may_be_is_written_as_it_is_read() -> None:
    assert said(f"a day from {FIRST_YEAR} to {LAST_YEAR}")
    *texts, last = [*endings.TEXTS, endings.BOOK]
    assert said(f"A file ends in {', '.join(texts)} or {last}")
    rows = f"{limits.MOST_ROWS:,}".replace(",", " ")
    assert said(f"of {limits.megabytes(limits.MOST_PAGE_BYTES)} on a page and {rows} rows")


def test_waits_are_written_as_they_are_set() -> None:
    """ASVS 5.0.0, 6.1.1: how often, how long, for whom, and how it is lifted."""
    written = plain(DEVELOPERS.partition("## Settings from the environment")[2])
    minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
    assert (settings.AXES_FAILURE_LIMIT, settings.AXES_LOCKOUT_PARAMETERS) == (
        5,
        [["username", "ip_address"]],
    )
    assert "Five wrong tries for one name from one address make that pair wait" in written
    assert f"wait {minutes} minutes" in written
    assert "axes_reset" in written


def test_how_soon_a_library_is_renewed_is_written() -> None:
    """ASVS 5.0.0, 15.1.1; that known faults are asked for is part of every run of CI."""
    assert said("within 7 days")
    assert said("any other within 30")
    runs = (ROOT / ".ci" / "run").read_text(encoding="utf-8").split("\n")
    assert "pip-audit" in " ".join(runs)
    assert runs.count("tell_known_faults") == 1
