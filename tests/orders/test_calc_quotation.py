"""What stands on the paper of a quote: its prices, its sentences, and that it keeps them."""

import json
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.costing import AdditionPrice, FibrePrice, Rates, cost
from orders.calc.quotation import Quotation, price_of
from orders.calc.spec import SheetSpec
from studio.errors import RangeError
from studio.sizes import Size
from tests.orders.quotings import cost_at, offered

NBSP = "\u00a0"
shares = st.decimals(0, 1, places=6)


# --- money


def test_the_price_in_all_is_the_price_of_one_times_the_number():
    # 60 × 6.54 is 392.40; half of it is 196.20.
    price = price_of(cost_at(60, 654), tolerance_over=Decimal(0), deposit=Decimal("0.5"))
    assert (price.total_minor, price.tax_minor, price.to_pay_minor) == (39_240, 0, 39_240)
    assert price.deposit_minor == 19_620


def test_tax_comes_on_top_and_the_deposit_is_of_all_there_is_to_pay():
    # 60 × 6.54 = 392.40, a fifth of it 78.48, together 470.88; a third of that is 156.96.
    price = price_of(
        cost_at(60, 654, 7_848), tolerance_over=Decimal(0), deposit=Decimal("0.333333")
    )
    assert (price.tax_minor, price.to_pay_minor, price.deposit_minor) == (7_848, 47_088, 15_696)


@given(
    sheets=st.integers(1, 5000),
    minutes=st.integers(1, 60),
    hourly=st.integers(0, 9999),
    rate=st.decimals(0, "0.9", places=3),
    tax=st.decimals(0, "0.5", places=4),
    deposit=shares,
)
def test_each_times_number_and_a_tax_line_that_is_rounded_once(
    sheets, minutes, hourly, rate, tax, deposit
):
    found = cost(
        SheetSpec(size=Size(210_000, 297_000), grammage=Decimal(120)),
        sheets,
        fibres=[FibrePrice("linter", Decimal(1), Decimal("0.98"), Decimal(913))],
        additions=[AdditionPrice("chalk", Decimal("0.05"), Decimal(350))],
        rates=Rates(
            "GBP", Decimal(hourly), Decimal(400), Decimal(60), Decimal(minutes),
            price_rate=rate, tax_rate=tax,
        ),
    )  # fmt: skip
    price = price_of(found, tolerance_over=Decimal(0), deposit=deposit)
    assert price.total_minor == price.each_minor * sheets
    # No further from the exact figure than one rounding takes it.
    exact_each = found.total_minor_per_sheet / (1 - rate)
    assert abs(price.each_minor - exact_each) <= Decimal("0.5")
    assert abs(price.tax_minor - price.total_minor * tax) <= Decimal("0.5")
    assert price.to_pay_minor == price.total_minor + price.tax_minor
    assert abs(price.deposit_minor - price.to_pay_minor * deposit) <= Decimal("0.5")
    assert 0 <= price.deposit_minor <= price.to_pay_minor


@given(sheets=st.integers(1, 10_000), over=shares)
def test_never_fewer_and_no_more_than_the_tolerance(sheets, over):
    price = price_of(cost_at(sheets, 1), tolerance_over=over, deposit=Decimal(0))
    assert sheets <= price.at_most <= sheets * (1 + over) < price.at_most + 1


@pytest.mark.parametrize("name", ["tolerance_over", "deposit"])
def test_a_share_above_all_is_refused_by_name(name):
    given_shares = {"tolerance_over": Decimal(0), "deposit": Decimal(0), name: Decimal("1.2")}
    with pytest.raises(RangeError, match=f"from 0 % to 100 %, got 120{NBSP}%") as fault:
        price_of(cost_at(1, 1), **given_shares)
    assert fault.value.field == name


def test_a_currency_without_minor_units_stays_whole():
    found = offered(cost_at(60, 981, currency="JPY"), currency="JPY")
    assert "¥29\u202f430 at 60 sheets" in found.words.deposit
    assert found.money_unit == "¥"


# --- sentences


def test_the_sheet_and_its_furnish_are_named_with_their_shares():
    words = offered().words
    assert words.sheet == f"210{NBSP}×{NBSP}297{NBSP}mm, 120{NBSP}g/m². Deckle edges, as pulled."
    assert words.furnish == f"Linter 60{NBSP}%, Abaca 40{NBSP}%, by dry mass. With Chalk."


def test_tolerances_are_told_with_their_units():
    words = offered().words
    assert words.tolerance.endswith(
        f"a side may differ by up to 4{NBSP}mm and grammage by up to 10{NBSP}%, either way."
    )
    # 5 % of 60 are 3.
    assert words.count.startswith("Count \u22120/+3 at 60 sheets: you get no fewer")


def test_a_tolerance_of_nothing_is_not_told_as_one():
    bare = offered(size_tolerance_um=0, grammage_tolerance=Decimal(0), tolerance_over=Decimal(0))
    assert bare.words.tolerance == "Made by hand, one sheet at a time."
    assert "\u22120/+0" in bare.words.count
    assert "no fewer and no more" in bare.words.count


@pytest.mark.parametrize(
    ("deposit", "said"),
    [
        ("0", "Nothing is due on order; all of it is due when the sheets are sent."),
        ("1", "All of it, £392.40 at 60 sheets, is due on order."),
        ("0.5", f"50{NBSP}% is due on order, £196.20 at 60 sheets; the rest when the sheets are"),
    ],
)
def test_the_deposit_is_told_in_money(deposit, said):
    assert offered(deposit=Decimal(deposit)).words.deposit.startswith(said)


def test_days_are_written_out_with_their_year():
    found = offered(send_on=date(2026, 12, 18))
    assert found.day == f"4{NBSP}December{NBSP}2026"
    assert found.words.validity == f"These prices hold until 3{NBSP}January{NBSP}2027."
    assert f"by 18{NBSP}December{NBSP}2026 if you agree at once" in found.words.sending


def test_without_a_day_none_is_promised():
    assert offered().words.sending == "We name the day to send when you agree."


def test_tax_is_named_with_its_rate_or_said_to_be_none():
    assert offered().words.tax == "No tax is added."
    assert offered(tax_rate=Decimal("0.2")).words.tax == f"Tax of 20{NBSP}% is added."


def test_inches_where_the_studio_measures_in_them():
    words = offered(system="US").words
    assert words.sheet.startswith(f"8.27{NBSP}×{NBSP}11.69{NBSP}in")
    assert f"0.16{NBSP}in" in words.tolerance


# --- numbers


def test_other_numbers_stand_beside_the_one_that_was_asked_for():
    found = offered(cost_at(100, 500), cost_at(60, 654), cost_at(25, 800))
    assert found.chosen.sheets == 60
    assert [price.sheets for price in found.others] == [25, 100]
    # 25 × 8.00 and 100 × 5.00.
    assert [price.total_minor for price in found.others] == [20_000, 50_000]


def test_a_number_that_is_not_offered_is_refused_with_those_that_are():
    found = offered(cost_at(60, 654), cost_at(100, 500))
    with pytest.raises(RangeError, match="Q-007 offers 60, 100 good sheets, not 61"):
        found.price_of(61)


def test_the_numbers_are_set_out_with_the_tax_that_is_in_them():
    # 60 × 6.54 is 392.40, a fifth of it 78.48, to pay 470.88; 100 × 5.00, tax 100.00, 600.00.
    found = offered(
        cost_at(100, 500, 10_000), cost_at(60, 654, 7_848), tax_rate=Decimal("0.2")
    )  # fmt: skip
    asked, other = found.lines()
    assert (asked.label, asked.value, asked.because, asked.kind) == (
        "60 good sheets", "£470.88", "£6.54 each, tax £78.48 in it", "answer",
    )  # fmt: skip
    assert (other.label, other.value, other.kind) == ("100 good sheets", "£600.00", "")
    assert offered().lines()[0].because == "£6.54 each"


def test_what_has_no_price_is_named_once_for_all_numbers():
    dear, cheap = cost_at(60, 654), cost_at(100, 500)
    found = offered(replace(dear, missing=("Chalk", "Abaca")), replace(cheap, missing=("Chalk",)))
    assert found.missing == ("Chalk", "Abaca")


@pytest.mark.parametrize(
    "more",
    [
        {"remarks": "Long. " * 80},
        {"remarks": "A\n" * 8},
        dict.fromkeys(("studio", "client", "title", "sheet_name"), "A" * 80),
    ],
)
def test_much_to_say_wants_a_smaller_type_however_it_comes(more):
    usual = {"includes": "Packing is included; carriage is extra. " * 2, "remarks": ""}
    assert not offered(**usual).is_long
    assert offered(**{**usual, **more}).is_long


# --- kept


def test_what_is_kept_reads_back_as_it_was():
    found = offered(
        cost_at(60, 654, 131), cost_at(100, 500, 100),
        send_on=date(2026, 12, 18), tax_rate=Decimal("0.2"), remarks="Two lines\nof it.",
    )  # fmt: skip
    kept = json.loads(json.dumps(found.to_json()))
    assert Quotation.from_json(kept) == found


def test_what_is_kept_holds_amounts_as_whole_numbers_and_shares_as_text():
    kept = offered(deposit=Decimal("0.5")).to_json()
    assert kept["deposit"] == "0.5"
    assert type(kept["prices"][0]["each_minor"]) is int
    assert kept["valid_until"] == "2027-01-03"
