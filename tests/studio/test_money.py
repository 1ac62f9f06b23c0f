from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.errors import ReadingError
from studio.money import (
    CURRENCIES,
    digits,
    major,
    read_money,
    show_figure,
    show_money,
    whole_minor,
)

NO_BREAK, NARROW = "\u00a0", "\u202f"


@pytest.mark.parametrize(
    ("minor", "currency", "shown"),
    [
        (1250, "GBP", "£12.50"),
        # Thousands as in every table: a narrow space, from 10 000 on (look.md: figures align).
        (123_456_789, "EUR", f"€1{NARROW}234{NARROW}567.89"),
        (123_456, "GBP", "£1234.56"),
        (-1_250_000, "CHF", f"\u221212{NARROW}500.00{NO_BREAK}CHF"),
        (1250, "JPY", "¥1250"),
        (5, "CHF", f"0.05{NO_BREAK}CHF"),
        (-399, "USD", "\u2212$3.99"),
        (0, "GBP", "£0.00"),
    ],
)
def test_amount_is_worded_with_its_sign_or_code(minor, currency, shown):
    assert show_money(minor, currency) == shown


@given(st.integers(-99_999_999_999, 99_999_999_999), st.sampled_from(CURRENCIES))
def test_an_amount_looks_the_same_in_a_sentence_as_in_a_table(minor, currency):
    assert show_figure(minor, currency).lstrip("\u2212") in show_money(minor, currency)


@given(st.integers(0, 99_999_999_999), st.sampled_from(CURRENCIES))
def test_an_amount_that_is_shown_can_be_typed_in_as_it_is(minor, currency):
    whole = min(minor, 999_999_999 * 10 ** digits(currency))
    assert read_money(show_money(whole, currency), currency) == whole


@pytest.mark.parametrize("text", [f"1{NARROW}00.00", f"12{NARROW}50", f"1{NARROW}0000"])
def test_a_narrow_space_that_marks_no_thousands_is_refused(text):
    with pytest.raises(ReadingError, match="as a plain amount"):
        read_money(text, "GBP")


@pytest.mark.parametrize(("minor", "whole"), [("0.5", 0), ("1.5", 2), ("2.5", 2), ("2.51", 3)])
def test_half_a_minor_unit_goes_to_the_even_one(minor, whole):
    assert whole_minor(Decimal(minor)) == whole


def test_minor_units_that_round_to_nothing_have_no_minus():
    assert show_money(Decimal("-0.4"), "GBP") == "£0.00"


@pytest.mark.parametrize(
    ("text", "currency", "minor"),
    [
        ("12.50", "GBP", 1250),
        ("12,5", "EUR", 1250),
        (" £12 ", "GBP", 1200),
        ("12.50 CHF", "CHF", 1250),
        ("1250", "JPY", 1250),
        ("0", "GBP", 0),
        ("999999999.99", "GBP", 99_999_999_999),
    ],
)
def test_typed_amount_is_read(text, currency, minor):
    assert read_money(text, currency) == minor


@pytest.mark.parametrize(
    "text",
    ["", "-5", "\u22125", "1e3", "NaN", "1_000", "١٢", "１２", "12.", ".5", "0x10", "12 50",
     "$12.50", "1,000.00", "1000000000", "12.50\x00"],
)  # fmt: skip
def test_what_is_no_plain_amount_is_refused_with_an_example(text):
    with pytest.raises(ReadingError, match=r"Give price as a plain amount in GBP such as 12\.50"):
        read_money(text, "GBP", field="price")


@pytest.mark.parametrize(
    ("text", "currency"), [("1,000", "GBP"), ("1.000", "EUR"), ("12.5", "JPY"), ("1,000", "JPY")]
)
def test_more_places_than_the_currency_has_are_refused_not_guessed(text, currency):
    with pytest.raises(ReadingError, match="without a mark for thousands"):
        read_money(text, currency)


def test_a_very_long_amount_is_cut_in_the_refusal():
    with pytest.raises(ReadingError) as refusal:
        read_money("9" * 1000, "GBP")
    assert len(str(refusal.value)) < 120


@given(minor=st.integers(min_value=0, max_value=10**11 - 1), currency=st.sampled_from(CURRENCIES))
def test_amount_written_plainly_is_read_back(minor, currency):
    amount = min(minor, 10 ** (9 + digits(currency)) - 1)
    assert read_money(str(major(amount, currency)), currency) == amount
