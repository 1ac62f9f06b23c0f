"""Files made to hurt: workbooks that burst or lie are refused, torn lists enter nothing."""

from __future__ import annotations

import csv
import io
import random
import resource
import time
import zipfile

import openpyxl
import pytest

from fibres.exchange import LotList
from fibres.models import Lot, Movement, Source
from studio.errors import ReadingError, StudioError
from studio.files.rows import read_list
from studio.files.taking import take_in
from studio.models import Entry
from tests.builders import make_fibre, make_source, make_studio

HEADS = [
    "ref",
    "fibre",
    "source",
    "received",
    "mass (kg)",
    "moisture (%)",
    "left as is",
    "remarks",
]
MOST_SECONDS = 1.0
MOST_GROWTH_KB = 150_000
SEED = 20261129
FILES = 2000


def book() -> bytes:
    made = openpyxl.Workbook()
    made.active.append(HEADS)
    made.active.append(["", "Abaca", "Yard", "2026-01-02", 5, 8, "", "x"])
    file = io.BytesIO()
    made.save(file)
    return file.getvalue()


def repacked(changes: dict[str, bytes | None] | None = None, **more) -> bytes:
    """Return a workbook with parts exchanged, added or left out."""
    changes = changes or {}
    file = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(book())) as old,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            content = changes.get(part.filename, old.read(part))
            if content is not None:
                new.writestr(part.filename, content)
        for name, content in changes.items():
            if name not in old.namelist() and content is not None:
                new.writestr(name, content)
        for name in more.get("extra", ()):
            new.writestr(name, b"x")
    return file.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
SPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def sheet(rows: bytes) -> bytes:
    return f'<worksheet xmlns="{SPACE}"><sheetData>'.encode() + rows + b"</sheetData></worksheet>"


def lying() -> bytes:
    """Return a workbook whose table of contents says that a large part is small."""
    rows = b"".join(
        b'<row r="%d"><c r="A%d"><v>1</v></c></row>' % (n, n) for n in range(1, 90_000)
    )
    content = bytearray(repacked({SHEET: sheet(rows)}))
    whole = len(sheet(rows)).to_bytes(4, "little")
    return bytes(content.replace(whole, (900).to_bytes(4, "little")))


def entities() -> bytes:
    bomb = b'<!DOCTYPE x [<!ENTITY a "ha">' + b"".join(
        b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(8)
    )
    return (
        bomb + b"]>" + sheet(b'<row r="1"><c r="A1" t="inlineStr"><is><t>&i;</t></is></c></row>')
    )


def symlink() -> bytes:
    file = io.BytesIO(book())
    with zipfile.ZipFile(file, "a") as packed:
        part = zipfile.ZipInfo("xl/link.xml")
        part.external_attr = 0o120777 << 16
        packed.writestr(part, "/etc/hostname")
    return file.getvalue()


def locked() -> bytes:
    content = bytearray(book())
    at = content.find(b"PK\x01\x02")
    while at >= 0:
        content[at + 8] |= 1
        at = content.find(b"PK\x01\x02", at + 4)
    return bytes(content)


MANY = b"".join(b'<row r="%d"><c r="A%d"><v>1</v></c></row>' % (n, n) for n in range(1, 200_000))
HOSTILE = {
    "rows that burst": lambda: repacked({SHEET: sheet(b"<row><c><v>1</v></c></row>" * 3_000_000)}),
    "shared words that burst": lambda: repacked({"xl/sharedStrings.xml": b" " * 70_000_000}),
    "entities that burst": lambda: repacked({SHEET: entities()}),
    "ten thousand parts": lambda: repacked(extra=[f"xl/x{n}.xml" for n in range(10_000)]),
    "size that lies": lying,
    "cut short": lambda: book()[:-200],
    "old workbook": lambda: b"\xd0\xcf\x11\xe0" + b"\0" * 600,
    "picture": lambda: b"\x89PNG\r\n\x1a\n" + bytes(range(256)),
    "macros": lambda: repacked(extra=["xl/vbaProject.bin"]),
    "macros by type": lambda: repacked(
        {"[Content_Types].xml": b"<Types>application/vnd.ms-excel.sheet.macroEnabled</Types>"}
    ),
    "other files": lambda: repacked(extra=["xl/externalLinks/externalLink1.xml"]),
    "row far below": lambda: repacked({SHEET: sheet(
        b'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048577"><c r="A1048577"/></row>'
    )}),
    "more rows than are taken": lambda: repacked({SHEET: sheet(MANY)}),
    "locked": locked,
    "link to another file": symlink,
    "path that climbs": lambda: repacked(extra=["../../etc/passwd"]),
    "part in another coding": lambda: repacked({SHEET: sheet(b"").decode().encode("utf-16")}),
    "no sheet": lambda: repacked({SHEET: None}),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_workbook_is_refused_at_once(name):
    content = HOSTILE[name]()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began = time.process_time()
    with pytest.raises(ReadingError):
        read_list(content, LotList.columns)
    assert time.process_time() - began < MOST_SECONDS
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < MOST_GROWTH_KB


def test_words_that_a_workbook_declares_for_itself_are_not_read():
    """An entity that bursts is stopped by the parser too; one that does no harm is refused too."""
    cells = b'<row r="1"><c r="A1" t="inlineStr"><is><t>&a;</t></is></c></row>'
    content = repacked({SHEET: b'<!DOCTYPE x [<!ENTITY a "fibre">]>' + sheet(cells)})
    with pytest.raises(ReadingError, match="The workbook cannot be read"):
        read_list(content, LotList.columns)


def test_the_workbook_that_they_are_made_of_is_taken():
    assert len(read_list(book(), LotList.columns).rows) == 1
    assert len(read_list(repacked(), LotList.columns).rows) == 1


# --- torn lists -------------------------------------------------------------------------------

NASTY = (
    "NaN", "-1", "1e400", "1,234", "9**9**8", "=1+1", "\0", "\x07", "", " ", "½", "１２", "0",
    "100 %", "x" * 6000, "2026-02-30", "31/12/2026", "2199-01-01", "'", '"', "\n", ";", "\ufeff",
    "‮abc", "0.000000001", "99999999999", "yes", "Abaca", "Nobody",
)  # fmt: skip


def torn(chance: random.Random) -> bytes:
    """Return a list with a few things wrong with it, down to single bytes."""
    rows = [list(HEADS)]
    rows += [
        ["", "Abaca", "Yard", "2026-01-02", str(chance.randint(1, 90)), "8", "", f"row {n}"]
        for n in range(chance.randint(1, 5))
    ]
    for _ in range(chance.choice([0, 0, 1, 2, 4])):
        row = chance.choice(rows)
        if row:
            row[chance.randrange(len(row))] = chance.choice(NASTY)
    if chance.random() < 0.2:
        chance.choice(rows).append("more")
    if chance.random() < 0.2:
        chance.choice(rows).pop()
    file = io.StringIO()
    csv.writer(file, delimiter=chance.choice(",;\t")).writerows(rows)
    encoding = chance.choice(["utf-8", "utf-8", "utf-16", "cp1252", "latin-1"])
    content = bytearray(file.getvalue().encode(encoding, errors="replace"))
    for _ in range(chance.choice([0, 0, 0, 1, 5])):
        content[chance.randrange(len(content))] = chance.randrange(256)
    if chance.random() < 0.1:
        del content[chance.randrange(len(content)) :]
    return bytes(content)


@pytest.mark.django_db
def test_torn_lists_raise_nothing_else_and_enter_all_or_nothing():
    make_studio(currency="GBP")
    make_fibre(name="Abaca")
    make_source(name="Yard")
    chance = random.Random(SEED)
    refusals = taken = 0
    told: set[str] = set()
    for number in range(FILES):
        content = torn(chance)
        held = Lot.objects.count()
        try:
            file = read_list(content, LotList.columns)
            found = take_in(LotList(), file, again=True)
        except StudioError as refusal:
            told.add(str(refusal))
            refusals += 1
            assert Lot.objects.count() == held, number
        else:
            taken += 1
            assert Lot.objects.count() == held + len(file.rows) == held + found.count("entered")
    assert refusals + taken == FILES
    assert "" not in told
    # Both happen often, or the lists would prove nothing.
    assert refusals > FILES / 3
    assert taken > FILES / 20
    assert Source.objects.count() == 1
    assert Entry.objects.filter(act="take in lots").count() == taken
    assert Movement.objects.count() >= Lot.objects.count()
    assert all(0 < lot.as_is_mg <= 10**11 for lot in Lot.objects.all())
    assert all(0 <= lot.moisture < 1 for lot in Lot.objects.all())
