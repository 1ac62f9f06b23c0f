"""What was typed into the search box, and how what was found is shown."""

from __future__ import annotations

import pytest

from studio.search import Asked, around, marked, words_of


def test_words_are_kept_once_and_in_order() -> None:
    assert words_of("  river  Cotton river COTTON ") == ("river", "Cotton")
    assert words_of(" \t\n ") == ()


def test_a_letter_and_its_accent_are_one_sign() -> None:
    assert words_of("E\u0301lodie") == ("\u00c9lodie",)


@pytest.mark.parametrize(
    ("typed", "ref"),
    [
        (" m-001 ", "m-001"),
        ("P-001/2", "P-001"),
        ("cotton", "cotton"),
        ("M-001 cotton", ""),
        ("M-001/", ""),
        ("50%", ""),
        ("M" * 17, ""),
    ],
)
def test_one_word_may_be_a_reference_or_a_line_of_it(typed: str, ref: str) -> None:
    assert Asked.read(typed).ref == ref


@pytest.mark.parametrize(
    ("text", "words", "shown"),
    [
        ("New cotton rag", ("cotton",), "New <mark>cotton</mark> rag"),
        ("Cotton, COTTON", ("cotton",), "<mark>Cotton</mark>, <mark>COTTON</mark>"),
        ("cottonwood", ("cotton", "cottonwood"), "<mark>cottonwood</mark>"),
        ("a.b axb", ("a.b",), "<mark>a.b</mark> axb"),
        ("(50%)", ("(50%",), "<mark>(50%</mark>)"),
        ("École", ("éCOLE",), "<mark>École</mark>"),
        ("rag", (), "rag"),
        ("", ("rag",), ""),
    ],
)
def test_each_word_is_marked(text: str, words: tuple[str, ...], shown: str) -> None:
    assert marked(text, words) == shown


@pytest.mark.parametrize(
    ("text", "words", "shown"),
    [
        ("<b>rag</b>", ("rag",), "&lt;b&gt;<mark>rag</mark>&lt;/b&gt;"),
        ("<b>rag</b>", ("<b>",), "<mark>&lt;b&gt;</mark>rag&lt;/b&gt;"),
        ("a & b", ("amp",), "a &amp; b"),
        ("{0} {{ rag }}", ("rag",), "{0} {{ <mark>rag</mark> }}"),
        ("x <mark>y", ("mark",), "x &lt;<mark>mark</mark>&gt;y"),
    ],
)
def test_what_is_stored_is_escaped_whatever_is_marked(
    text: str, words: tuple[str, ...], shown: str
) -> None:
    assert marked(text, words) == shown


def test_a_long_text_is_shown_around_the_word() -> None:
    text = f"{'before ' * 20}the quay {'after ' * 30}"
    shown = around(text, ("QUAY",))
    assert shown.startswith("…")
    assert shown.endswith("…")
    assert "the quay after" in shown
    assert len(shown) < 100


def test_a_short_text_is_shown_whole() -> None:
    assert around("rings at\nnoon", ("noon",)) == "rings at noon"
