"""Lists of all eight kinds, torn and forged: refused by row and column, or entered whole.

They are made from what the demo's studio hands out, so that most of each is right.
``tests/studio/test_files_hostile.py`` has the workbooks that burst, and lots alone.
"""

from __future__ import annotations

import csv
import io
import random
import zipfile
from typing import Any

import openpyxl
import pytest
from django.utils import timezone

from orders import demo
from orders.exchange import LISTS
from studio import people
from studio.errors import StudioError
from studio.files.lists import FileList, ListFaultsError
from studio.files.rows import read_list
from studio.files.taking import take_in
from tests.exchange import out
from tests.hostile.ground import everything, undone
from tests.hostile.nasties import DAYS, EMPTY, FORGED, LIKELY, NUMBERS, TOO_LONG, UNREADABLE

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

SEED = 20261130
# Over all eight lists 2 000 files, and 240 workbooks.
CSVS, BOOKS = 250, 30
MOST_ROWS = 3
# A workbook keeps no control characters but these.
KEPT = str.maketrans(dict.fromkeys([*range(9), 11, 12, *range(14, 32), *range(0xD800, 0xE000)]))
# No-break and thin spaces stand between a number and its unit.
SPACES = str.maketrans("\u00a0\u202f\u2009", "   ")
CELLS = [*EMPTY, *UNREADABLE, *NUMBERS, *DAYS, *FORGED, *TOO_LONG, *LIKELY, "Abaca", "yes", "no",
         "x" * 6000, '"', "'", "a\nb", "1;2", "TRUE", "#REF!"]  # fmt: skip


@pytest.fixture
def rows(db: None) -> dict[str, list[list[str]]]:
    """Return each list of the demo's studio as rows of text, headings first."""
    demo.make(timezone.localdate(), people.make_owner("demo owner", None))
    found = {}
    for slug, flist in LISTS.items():
        text = out(flist, "csv").decode("utf-8-sig")
        mark = ";" if text.partition("\n")[0].count(";") else ","
        found[slug] = list(csv.reader(io.StringIO(text), delimiter=mark))
    return found


def torn(whole: list[list[str]], chance: random.Random) -> list[list[str]]:
    """Return the headings and a few rows, with some of it exchanged, missing or there twice."""
    few = chance.sample(whole[1:], min(len(whole) - 1, chance.randint(1, MOST_ROWS)))
    rows = [list(row) for row in [whole[0], *few]]
    for _ in range(chance.choice([0, 0, 1, 1, 2, 5])):
        row = chance.choice(rows[1:])
        if row:
            row[chance.randrange(len(row))] = chance.choice(CELLS)
    how = chance.random()
    if how < 0.05:
        rows[0][chance.randrange(len(rows[0]))] = chance.choice(CELLS)
    elif how < 0.1:
        rows[0].append(chance.choice(rows[0]))
    elif how < 0.15:
        gone = chance.randrange(len(rows[0]))
        for row in rows:
            del row[gone : gone + 1]
    elif how < 0.2:
        chance.choice(rows).append("more")
    elif how < 0.25:
        rows.append(list(rows[-1]))
    elif how < 0.3:
        rows = chance.choice([rows[:1], rows[1:], [], [[]], [*rows, []]])
    return rows


def as_csv(rows: list[list[str]], chance: random.Random) -> bytes:
    """Return rows as text, in some coding, with some bytes of it broken."""
    file = io.StringIO()
    csv.writer(file, delimiter=chance.choice(",,;\t")).writerows(rows)
    coding = chance.choice(["utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"])
    content = bytearray(file.getvalue().encode(coding, "replace"))
    for _ in range(chance.choice([0, 0, 0, 0, 1, 4])):
        if content:
            content[chance.randrange(len(content))] = chance.randrange(256)
    if content and chance.random() < 0.05:
        del content[chance.randrange(len(content)) :]
    return bytes(content)


def as_book(rows: list[list[str]], chance: random.Random) -> bytes:
    """Return rows as a workbook, with cells of odd kinds, and some bytes of a part broken."""
    made = openpyxl.Workbook()
    odd = [None, True, 5, -1.5, 1e300, timezone.localdate(), "=1+1", "#DIV/0!", 10**15]
    for row in rows:
        made.active.append([
            chance.choice(odd) if chance.random() < 0.05 else cell.translate(KEPT)[:32_000]
            for cell in row
        ])  # fmt: skip
    file = io.BytesIO()
    made.save(file)
    if chance.random() < 0.5:
        return file.getvalue()
    if chance.random() < 0.3:
        content = bytearray(file.getvalue())
        for _ in range(chance.randint(1, 20)):
            content[chance.randrange(len(content))] = chance.randrange(256)
        return bytes(content)
    return _broken_part(file, chance)


def _broken_part(file: io.BytesIO, chance: random.Random) -> bytes:
    """Return a workbook of which one part is broken inside, or gone."""
    fresh = io.BytesIO()
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(fresh, "w", zipfile.ZIP_DEFLATED) as new:
        chosen = chance.choice(old.namelist())
        for name in old.namelist():
            content = bytearray(old.read(name))
            if name == chosen:
                if chance.random() < 0.3:
                    continue
                for _ in range(chance.randint(1, 10)):
                    content[chance.randrange(len(content))] = chance.randrange(256)
            new.writestr(name, bytes(content))
    return fresh.getvalue()


def bring(flist: FileList, content: bytes) -> Any:
    """Bring a file in through the door that page and command share."""
    return take_in(flist, read_list(content, flist.columns, currency="GBP"), again=True)


def unkind(refusal: StudioError) -> list[str]:
    """Say what a refusal lacks."""
    if not isinstance(refusal, ListFaultsError):
        text = str(refusal)
        return [] if text.endswith((".", "”", ")")) and len(text) < 900 else [f"says {text!r}"]
    found = [f"{fault} has no row" for fault in refusal.faults if fault.row < 1]
    found += [f"{fault} says nothing" for fault in refusal.faults if len(fault.text) < 10]
    found += [f"{str(fault)[:80]}… is long" for fault in refusal.faults if len(fault.text) > 500]
    return found + [
        f"{str(fault)!a} shows what cannot be seen"
        for fault in refusal.faults
        if not str(fault).translate(SPACES).isprintable()
    ]


@pytest.mark.parametrize("made", [(CSVS, as_csv), (BOOKS, as_book)], ids=["text", "workbooks"])
def test_torn_lists_are_refused_kindly_or_entered_whole(
    rows: dict[str, list[list[str]]], made: Any
) -> None:
    times, write = made
    held = everything()
    wrong, refused, taken, by_column = [], 0, 0, 0
    for slug, flist in LISTS.items():
        chance = random.Random(f"{SEED} {slug}")
        for number in range(times):
            content = write(torn(rows[slug], chance), chance)
            with undone():
                try:
                    bring(flist, content)
                    taken += 1
                except StudioError as refusal:
                    refused += 1
                    by_column += (
                        getattr(getattr(refusal, "faults", (None,))[0], "column", "") != ""
                    )
                    wrong += [f"{slug} {number}: {one}" for one in unkind(refusal)]
                    if everything() != held:
                        wrong.append(f"{slug} {number}: writes though it is refused")
                except Exception as broken:
                    wrong.append(f"{slug} {number}: {type(broken).__name__}: {broken}")
    assert not wrong, "\n".join(wrong[:40])
    # Some of each, or they would prove nothing.
    assert refused > times * 4
    assert taken > times / 4
    assert by_column > times
