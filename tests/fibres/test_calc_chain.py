"""Whatever is changed, removed, swapped or slipped in is found at that row."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fibres.calc.chain import BEGINNING, Link, Noted, broken, next_digest, written
from studio.errors import StudioError

ISSUED: dict[str, Any] = {
    "movement": 7,
    "lot": 2,
    "lot_ref": "LI-0002",
    "kind": "issued",
    "oven_dry_mg": -920_000,
    "as_is_mg": -1_000_000,
    "moisture": Decimal("0.08"),
    "happened_on": date(2026, 3, 3),
    "why": "for the “Anna” cards",
    "reverses": None,
    "entry_key": UUID("00000000-0000-4000-8000-000000000001"),
    "act": "take out",
    "said": "Issued 1 kg",
    "page": "/lots/LI-0002/",
    "who": None,
    "recorded_at": datetime(2026, 3, 3, 9, 30, tzinfo=UTC),
}


# --- one movement as a line ---------------------------------------------------------------------


def test_line_is_as_told_in_the_docs():
    # Written out by hand, field by field.
    assert written(**ISSUED) == (
        b'[1,7,2,"LI-0002","issued",-920000,-1000000,"0.080000","2026-03-03",'
        b'"for the \\u201cAnna\\u201d cards",null,"00000000-0000-4000-8000-000000000001",'
        b'"take out","Issued 1 kg","/lots/LI-0002/",null,"2026-03-03T09:30:00.000000+00:00"]'
    )


def test_line_is_the_same_however_a_database_hands_it_back():
    east = timezone(timedelta(hours=5, minutes=30))
    again = {
        **ISSUED,
        "moisture": Decimal("0.08000"),
        "recorded_at": ISSUED["recorded_at"].astimezone(east),
        "entry_key": str(ISSUED["entry_key"]),
    }
    assert written(**again) == written(**ISSUED)


OTHER: dict[str, Any] = {
    "movement": 8,
    "lot": 3,
    "lot_ref": "LI-0003",
    "kind": "discarded",
    "oven_dry_mg": -920_001,
    "as_is_mg": None,
    "moisture": Decimal("0.080001"),
    "happened_on": date(2026, 3, 4),
    "why": "for the “Anna” card",
    "reverses": 1,
    "entry_key": UUID("00000000-0000-4000-8000-000000000002"),
    "act": "take  out",
    "said": "Issued 1 kg ",
    "page": "/lots/LI-0003/",
    "who": "anna",
    "recorded_at": ISSUED["recorded_at"] + timedelta(microseconds=1),
}


@pytest.mark.parametrize("name", ISSUED)
def test_line_changes_with_everything_that_is_sealed(name: str):
    assert written(**{**ISSUED, name: OTHER[name]}) != written(**ISSUED)


@given(st.text(max_size=9), st.text(max_size=9), st.text(max_size=9), st.text(max_size=9))
def test_no_two_pairs_of_texts_come_to_one_line(why, said, other_why, other_said):
    assume((why, said) != (other_why, other_said))
    first = written(**{**ISSUED, "why": why, "said": said})
    assert first != written(**{**ISSUED, "why": other_why, "said": other_said})
    assert json.loads(first)[9] == why


def test_a_seal_is_reckoned_from_the_one_before():
    first = hashlib.sha256(b"0" * 64 + b"\n1\n[1]").hexdigest()
    second = hashlib.sha256(first.encode() + b"\n2\n[2]").hexdigest()
    assert next_digest(BEGINNING, number=1, line=b"[1]") == first
    assert next_digest(first, number=2, line=b"[2]") == second


# --- a run of them ------------------------------------------------------------------------------


def chain_of(lines: list[bytes]) -> list[Link]:
    found, digest = [], BEGINNING
    for number, line in enumerate(lines, start=1):
        digest = next_digest(digest, number=number, line=line)
        # A database may leave numbers out between two movements.
        found.append(Link(movement=number * 3, line=line, number=number, digest=digest))
    return found


LINES = st.lists(st.binary(max_size=12), min_size=2, max_size=12, unique=True)


def first_bad(links: list[Link]) -> int | None:
    return next((movement for movement, _ in broken(links)), None)


def test_no_movement_is_no_fault():
    assert list(broken([])) == []


@given(LINES)
def test_a_chain_as_it_was_written_holds(lines):
    assert list(broken(chain_of(lines))) == []


@given(LINES, st.binary(max_size=12), st.data())
def test_one_changed_row_is_found_alone(lines, other, data):
    links = chain_of(lines)
    at = data.draw(st.integers(0, len(links) - 1))
    assume(other != lines[at])
    links[at] = replace(links[at], line=other)
    assert [movement for movement, _ in broken(links)] == [links[at].movement]


@given(LINES, st.binary(max_size=12), st.data())
def test_a_row_that_is_sealed_anew_is_found_at_the_next(lines, other, data):
    links = chain_of(lines)
    at = data.draw(st.integers(0, len(links) - 2))
    assume(other != lines[at])
    before = links[at - 1].digest if at else BEGINNING
    digest = next_digest(before, number=at + 1, line=other)
    links[at] = replace(links[at], line=other, digest=digest)
    assert first_bad(links) == links[at + 1].movement


@given(LINES, st.data())
def test_a_removed_row_is_found_at_the_one_after(lines, data):
    links = chain_of(lines)
    at = data.draw(st.integers(0, len(links) - 2))
    after = links[at + 1]
    del links[at]
    found = list(broken(links))
    assert found == [
        (after.movement, f"is sealed as number {at + 2}, and number {at + 1} is gone")
    ]


@given(LINES, st.data())
def test_removed_rows_whose_numbers_were_closed_up_are_found(lines, data):
    links = chain_of(lines)
    at = data.draw(st.integers(0, len(links) - 2))
    after = links[at + 1]
    kept = [*links[:at], *(replace(one, number=one.number - 1) for one in links[at + 1 :])]
    assert first_bad(kept) == after.movement


@given(LINES, st.data())
def test_two_swapped_rows_are_found_at_the_first(lines, data):
    links = chain_of(lines)
    first = data.draw(st.integers(0, len(links) - 2))
    second = data.draw(st.integers(first + 1, len(links) - 1))
    one, other = links[first], links[second]
    links[first] = replace(one, line=other.line)
    links[second] = replace(other, line=one.line)
    assert first_bad(links) == one.movement
    # And so are two whose seals went along.
    links[first] = replace(other, movement=one.movement)
    links[second] = replace(one, movement=other.movement)
    assert first_bad(links) == one.movement


def test_swapped_rows_are_said_to_be_so():
    one, other = chain_of([b"a", b"b"])
    swapped = [replace(other, movement=one.movement), replace(one, movement=other.movement)]
    assert list(broken(swapped)) == [
        (3, "is sealed as number 2, and number 1 is gone"),
        (6, "is sealed as number 1 and comes after 2"),
    ]


@given(LINES, st.binary(max_size=12), st.data(), st.sampled_from(["none", "copied", "made up"]))
def test_a_row_slipped_in_is_found(lines, other, data, seal):
    links = chain_of(lines)
    at = data.draw(st.integers(0, len(links) - 1))
    copied = links[at]
    number, digest = {
        "none": (None, None),
        "copied": (copied.number, copied.digest),
        "made up": (copied.number + 1, "f" * 64),
    }[seal]
    new = Link(copied.movement + 1, other, number, digest)
    links.insert(at + 1, new)
    assert first_bad(links) == new.movement


@pytest.mark.parametrize("wrong", [{"number": "x"}, {"digest": None}, {"number": None}])
def test_a_seal_that_cannot_be_read_is_none(wrong):
    links = chain_of([b"a", b"b"])
    links[1] = replace(links[1], **wrong)
    assert list(broken(links)) == [(6, "has no seal, so it was entered behind the program's back")]


# --- a seal on paper ----------------------------------------------------------------------------


@given(st.integers(0, 10**15 - 1), st.binary(min_size=32, max_size=32))
def test_a_noted_seal_is_read_as_it_was_written(number, digest):
    noted = Noted.of(number, digest.hex())
    assert Noted.read(f" {str(noted).upper()} ") == noted
    assert Noted.read(f"{number} - {digest.hex()}").fits(digest.hex())
    assert noted.fits(digest.hex())
    assert not noted.fits("z" + digest.hex()[1:])


@pytest.mark.parametrize(
    "text",
    ["57", "57-", "-3f2a91bc7d0e55aa", "57-3f2a91bc7d0e55a", "57-3f2a91bc7d0e55ag",
     "x-" + "a" * 16, "57-" + "a" * 65, "٥٧-" + "a" * 16, "9" * 16 + "-" + "a" * 16,
     "57:3f2a91bc7d0e55aa"],
)  # fmt: skip
def test_anything_else_is_refused_with_how_it_looks(text):
    with pytest.raises(StudioError, match="such as 57-3f2a91bc7d0e55aa; got"):
        Noted.read(text)
