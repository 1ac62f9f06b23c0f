"""A file is taken where its name and its first bytes say the same (ASVS 5.0.0, 5.2.2)."""

from __future__ import annotations

import io
import uuid
from typing import Any

import openpyxl
import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from studio import background
from studio.files import desk
from tests.builders import make_studio
from tests.exchange import text_of

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

NAME = {"name": "Quay Print Room"}


def book_of(*rows: list[str]) -> bytes:
    made, file = openpyxl.Workbook(), io.BytesIO()
    for row in rows:
        made.active.append(row)
    made.save(file)
    return file.getvalue()


def handed_in(browser: Client, name: str, content: bytes) -> Any:
    given = {"request_key": str(uuid.uuid4()), "sheet": "", "decimals": ""}
    file = SimpleUploadedFile("plain.csv", content)
    file._name = name
    return browser.post(reverse("data_bring", args=["clients"]), {**given, "file": file})


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch, owner: Any) -> None:
    monkeypatch.setattr(background, "in_background", lambda work, name: work())
    make_studio(currency="GBP")


def is_kept() -> bool:
    """Tell whether anything lies on the desk."""
    folder = settings.DATA_DIR / desk.FOLDER
    return any(path.is_file() for path in folder.rglob("*")) if folder.exists() else False


@pytest.mark.parametrize(("name", "is_book"), [
    ("clients.csv", False), ("CLIENTS.CSV", False), ("clients.txt", False),
    ("clients.tsv", False), ("clients.csv ", False), ("clients.xlsx", True),
    ("of 29.11.2026.XLSX", True),
])  # fmt: skip
def test_file_that_is_what_it_says_is_looked_over(
    owner_client: Client, name: str, is_book: bool
) -> None:
    content = book_of(["name"], [NAME["name"]]) if is_book else text_of(NAME)
    answer = handed_in(owner_client, name, content)
    assert answer.status_code == 302
    assert "1 entered" in owner_client.get(answer["Location"]).content.decode()


# What files begin with: executables of two systems, a script, pages, pictures, a packed file.
BEGINNINGS = {
    "x.exe": b"MZ\x90\0", "x": b"\x7fELF", "x.sh": b"#!/bin/sh\n", "x.html": b"<!doctype html>",
    "x.svg": b"<svg>", "x.png": b"\x89PNG\r\n\x1a\n", "x.zip": b"PK\x03\x04", "x.php": b"<?php",
    "x.csv.exe": b"name\na\n", "x.xls": b"\xd0\xcf\x11\xe0", "x.xlsm": b"PK\x03\x04",
    "x.": b"name\na\n", ".csv": b"name\na\n", "x.<zx>": b"name\na\n",
}  # fmt: skip


@pytest.mark.parametrize("name", BEGINNINGS, ids=ascii)
def test_file_of_another_kind_is_refused_by_its_name(owner_client: Client, name: str) -> None:
    before = is_kept()
    answer = handed_in(owner_client, name, BEGINNINGS[name])
    assert answer.status_code == 200
    text = answer.content.decode()
    assert "Hand in one that ends in .csv, .txt, .tsv or .xlsx." in text
    assert "<zx" not in text
    assert is_kept() == before


@pytest.mark.parametrize(("name", "content", "said"), [
    ("x.xlsx", b"name\nQuay Print Room\n", "it is no such workbook"),
    ("x.xlsx", b"MZ\x90\0", "it is no such workbook"),
    ("x.csv", b"PK\x03\x04" + b"\0" * 60, "it is packed as a workbook is"),
])  # fmt: skip
def test_file_that_is_not_what_its_name_says_is_refused(
    owner_client: Client, name: str, content: bytes, said: str
) -> None:
    before = is_kept()
    answer = handed_in(owner_client, name, content)
    assert answer.status_code == 200
    assert said in answer.content.decode()
    assert is_kept() == before


@pytest.mark.parametrize("name", ["studio.csv", "studio", "studio.zip.exe"])
def test_whole_studio_is_taken_from_a_packed_file_alone(owner_client: Client, name: str) -> None:
    given = {"request_key": str(uuid.uuid4())}
    file = SimpleUploadedFile(name, b"PK\x03\x04")
    answer = owner_client.post(reverse("data_whole"), {**given, "file": file})
    assert answer.status_code == 200
    assert "Hand in one that ends in .zip." in answer.content.decode()
