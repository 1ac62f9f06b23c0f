from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.costing import AdditionPrice, FibrePrice, Rates, cost, price_from_cost
from orders.calc.spec import SheetSpec
from studio.errors import RangeError
from studio.sizes import Size

# 1000 × 1000 mm of 100 g/m² without water, losses or culls: 100 g of fibre a sheet.
PLAIN = SheetSpec(
    Size(1_000_000, 1_000_000),
    Decimal(100),
    sheet_moisture=Decimal(0),
    retention=Decimal(1),
    broke=Decimal(0),
    retree=Decimal(0),
)
NOTHING = Rates(
    currency="GBP",
    hourly_rate_minor=Decimal(0),
    overhead_minor_per_hour=Decimal(0),
    setup_minutes=Decimal(0),
    minutes_per_pull=Decimal(0),
)
LINTER = FibrePrice("linter", Decimal(1), Decimal(1), Decimal(1000))


def reckon(quantity=10, *, spec=PLAIN, fibres=(LINTER,), additions=(), **rates):
    return cost(
        spec, quantity, fibres=fibres, additions=additions, rates=replace(NOTHING, **rates)
    )


def parts(found):
    return {part.key: part.minor_per_sheet for part in found.parts if part.minor_per_sheet}


# --- one part at a time, by hand --------------------------------------------------------------


def test_fibre_is_the_vat_at_the_price_of_its_oven_dry_kilogram():
    # By hand: 0.1 kg a sheet at 10.00 is 1.00.
    assert parts(reckon()) == {"fibre": 100}


def test_preparation_loss_makes_fibre_dearer():
    # By hand: half of it is lost, so 0.2 kg goes in.
    half = replace(LINTER, preparation_yield=Decimal("0.5"))
    assert parts(reckon(fibres=[half])) == {"fibre": 200}


def test_each_fibre_counts_by_its_share():
    # By hand: 0.06 kg at 10.00 and 0.04 kg at 20.00.
    furnish = [
        replace(LINTER, share=Decimal("0.6")),
        FibrePrice("abaca", Decimal("0.4"), Decimal(1), Decimal(2000)),
    ]
    assert parts(reckon(fibres=furnish)) == {"fibre": 140}


def test_culls_are_paid_for_by_the_good_sheets():
    # By hand: 9 good need 10 pulls at a tenth broke: 1 kg at 10.00 over 9.
    tenth = replace(PLAIN, broke=Decimal("0.1"))
    found = reckon(9, spec=tenth)
    assert found.pulls == 10
    assert round(parts(found)["fibre"], 3) == Decimal("111.111")


def test_additions_are_dosed_on_dry_fibre():
    # By hand: 2 % of 0.1 kg at 50.00 a kg is 0.10.
    alum = AdditionPrice("sizing", Decimal("0.02"), Decimal(5000))
    assert parts(reckon(additions=[alum])) == {"fibre": 100, "additions": 10}


def test_set_up_is_spread_over_the_good_sheets():
    # By hand: an hour at 20.00 over 10, and over 100.
    rates = {"hourly_rate_minor": Decimal(2000), "setup_minutes": Decimal(60)}
    assert parts(reckon(10, **rates))["labour"] == 200
    assert parts(reckon(100, **rates))["labour"] == 20
    assert reckon(10, **rates).setup_minor == 2000


def test_trial_pulls_take_time_and_fibre():
    # By hand: 12 pulls of 6 minutes are 1.2 h at 20.00, over 10; two trial sheets cost 2.00.
    found = reckon(
        trial_pulls=2, minutes_per_pull=Decimal(6), hourly_rate_minor=Decimal(2000)
    )  # fmt: skip
    assert parts(found) == {"fibre": 100, "labour": 240, "waste": 20}


def test_hours_are_told_fine_enough_to_be_multiplied_again():
    # By hand: 81 minutes are 1.35 h, at 20.00 that is 27.00; 1.4 h would be 28.00.
    found = reckon(setup_minutes=Decimal(81), hourly_rate_minor=Decimal(2000))
    labour = next(part for part in found.parts if part.key == "labour")
    assert labour.because.startswith("1.35\u00a0h at £20.00")
    assert labour.minor_per_sheet * found.quantity == 2700


def test_donated_fibre_costs_its_sorting():
    # By hand: 1 kg at 30 minutes is half an hour at 20.00, over 10.
    gift = FibrePrice("office", Decimal(1), Decimal(1), Decimal(0), "", Decimal(30))
    found = reckon(fibres=[gift], hourly_rate_minor=Decimal(2000))
    assert parts(found) == {"labour": 100}
    assert "sorting" in next(part.because for part in found.parts if part.key == "labour")


def test_the_heel_is_paid_for_unless_it_is_kept():
    # By hand: 0.5 kg at 10.00 over 10; a fifth of it lost where four fifths are kept.
    assert parts(reckon(heel_mg=500_000))["waste"] == 50
    assert parts(reckon(heel_mg=500_000, heel_recovered=Decimal("0.8")))["waste"] == 10


def test_broke_that_is_used_again_is_taken_off():
    # By hand: 10 pulls hold 1 kg, a tenth of it broke, half of that used again: 0.05 kg at 10.00.
    tenth = replace(PLAIN, broke=Decimal("0.1"))
    found = reckon(9, spec=tenth, broke_recovered=Decimal("0.5"))
    assert round(parts(found)["waste"], 6) == round(Decimal(-50) / 9, 6)
    assert "of broke" in next(part.because for part in found.parts if part.key == "waste")


def test_what_is_cut_off_a_pull_is_broke_that_is_used_again():
    # By hand: two of 500 × 900 mm from a square metre leave a tenth, 0.01 kg a pull; a tenth of
    # the two is broke, 0.009 kg. 10 pulls for 18 good: 0.19 kg, half used again at 10.00.
    cut = replace(
        PLAIN, size=Size(500_000, 900_000), mould=Size(1_000_000, 1_000_000), broke=Decimal("0.1")
    )
    found = reckon(18, spec=cut, broke_recovered=Decimal("0.5"))
    assert found.pulls == 10
    assert parts(found)["waste"] * 18 == -95


def test_energy_and_water_by_kilogram_and_pull():
    # By hand: 1 kg × 2 kWh + 10 pulls × 0.1 kWh = 3 kWh at 0.30; 10 × 50 L at 4.00 a m³.
    found = reckon(
        kwh_per_kg=Decimal(2), kwh_per_pull=Decimal("0.1"), minor_per_kwh=Decimal(30),
        litres_per_pull=Decimal(50), minor_per_m3=Decimal(400),
    )  # fmt: skip
    assert parts(found)["energy_water"] == Decimal(9 + 20)


def test_pounds_and_gallons_are_spoken_where_the_studio_measures_in_them():
    rates = replace(NOTHING, litres_per_pull=Decimal(50))
    found = cost(PLAIN, 10, fibres=[LINTER], additions=[], rates=rates, system="US")
    said = {part.key: part.because for part in found.parts}
    # By hand: 10.00 a kg × 0.45359237 kg a lb = 4.54; 500 L / 3.785411784 L a gallon = 132.
    assert "£4.54 a lb" in said["fibre"]
    assert "132\u00a0gal" in said["energy_water"]
    assert parts(found)["fibre"] == Decimal(100)


def test_rooms_by_the_hour_and_packing_by_the_sheet():
    found = reckon(
        overhead_minor_per_hour=Decimal(400), setup_minutes=Decimal(30),
        packing_minor_per_sheet=Decimal(5),
    )  # fmt: skip
    assert parts(found) == {"fibre": 100, "overhead": 20, "packing": 5}


# --- price ------------------------------------------------------------------------------------


def test_the_price_is_rounded_once_and_multiplied_after():
    # By hand: 100 × 1.333 = 133.3, so 1.33 each and 13.30 for ten.
    found = reckon(price_by="markup", price_rate=Decimal("0.333"))
    assert (found.price_minor_per_sheet, found.price_total_minor) == (133, 1330)


def test_tax_is_on_the_price_of_all():
    found = reckon(price_by="markup", tax_rate=Decimal("0.2"))
    assert (found.price_total_minor, found.tax_minor) == (1000, 200)


@pytest.mark.parametrize(
    ("rate", "words"),
    [
        ("0", "No tax is added: the studio's own rate is 0."),
        ("0.2", "At 10 sheets tax of 20\u00a0% adds £2.00 and the bill comes to £12.00."),
        # By hand: 0.04 % of 1000 minor units is 0.4, which rounds to none.
        (
            "0.0004",
            "At 10 sheets tax of 0.04\u00a0% rounds to nothing and the bill comes to £10.00.",
        ),
    ],
)
def test_a_tax_that_rounds_to_nothing_is_not_said_to_be_none(rate, words):
    found = reckon(price_by="markup", tax_rate=Decimal(rate))
    assert found.tax_words == words


def test_the_working_names_markup_or_margin():
    markup = reckon(price_by="markup", price_rate=Decimal("0.2")).working[-1]
    margin = reckon(price_by="margin", price_rate=Decimal("0.2")).working[-1]
    assert (markup.value, markup.because) == ("£1.20", "20\u00a0% of the cost added as markup")
    assert (margin.value, margin.because) == ("£1.25", "20\u00a0% of the price kept as margin")


def test_the_working_lists_every_part_before_the_cost():
    found = reckon()
    assert [line.label for line in found.working[:-2]] == [part.label for part in found.parts]
    assert found.working[-2].value == "£1.00"


def test_json_is_in_whole_units_with_the_keys_of_the_design():
    plain = reckon(price_by="markup", price_rate=Decimal("0.3")).as_json()
    assert plain == {
        "currency": "GBP",
        "quantity": 10,
        "per_sheet": {
            "fibre": 1.0, "additions": 0.0, "labour": 0.0, "energy_water": 0.0, "waste": 0.0,
            "overhead": 0.0, "packing": 0.0, "total": 1.0,
        },
        "price_per_sheet": 1.3,
        "price_total": 13.0,
    }  # fmt: skip


# --- prices that are not known ----------------------------------------------------------------


def test_what_has_no_price_is_named_and_counted_as_nothing():
    unknown = replace(LINTER, minor_per_kg=None)
    dye = AdditionPrice("dye", Decimal("0.01"), None)
    found = reckon(fibres=[unknown], additions=[dye])
    assert found.missing == ("linter", "dye")
    assert parts(found) == {}


def test_the_basis_of_a_price_is_told():
    assert reckon(fibres=[replace(LINTER, basis="book cost of L1")]).notes == (
        "linter: book cost of L1",
    )


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", [0, -5])
def test_fewer_than_one_sheet_is_refused(quantity):
    with pytest.raises(RangeError, match=f"1 or more, got {quantity}"):
        reckon(quantity)


@pytest.mark.parametrize("rate", ["1", "1.5"])
def test_a_margin_of_the_whole_price_is_refused(rate):
    with pytest.raises(RangeError, match="margin must be from 0 % and below 100 %"):
        reckon(price_by="margin", price_rate=Decimal(rate))


@pytest.mark.parametrize("by", ["markup", "margin"])
def test_a_rate_below_nothing_is_refused(by):
    with pytest.raises(RangeError, match=f"A {by} must be from 0"):
        reckon(price_by=by, price_rate=Decimal("-0.1"))


def test_a_price_is_made_by_markup_or_margin_only():
    with pytest.raises(RangeError, match="by markup or by margin, got 'guess'"):
        price_from_cost(Decimal(1), by="guess", rate=Decimal(0))


# --- properties -------------------------------------------------------------------------------

money = st.integers(0, 100_000).map(Decimal)
shares = st.decimals(0, Decimal("0.9"), places=3)


@given(money, money, shares, shares, st.integers(1, 500))
def test_a_dearer_fibre_never_makes_a_cheaper_sheet(cheap, more, broke, recovered, quantity):
    spec = replace(PLAIN, broke=broke)

    def total(price):
        found = reckon(
            quantity,
            spec=spec,
            fibres=[replace(LINTER, minor_per_kg=price)],
            broke_recovered=recovered,
            heel_mg=300_000,
        )
        return found.total_minor_per_sheet

    assert total(cheap + more) >= total(cheap)


@given(money, shares, shares)
def test_a_higher_rate_never_makes_a_lower_price(amount, low, more):
    for by in ("markup", "margin"):
        high = min(low + more, Decimal("0.95"))
        assert price_from_cost(amount, by=by, rate=high) >= price_from_cost(
            amount, by=by, rate=min(low, high)
        )


@given(shares, money)
def test_margin_and_the_markup_that_goes_with_it_make_one_price(margin, amount):
    markup = margin / (1 - margin)
    by_margin = price_from_cost(amount, by="margin", rate=margin)
    by_markup = price_from_cost(amount, by="markup", rate=markup)
    assert abs(by_margin - by_markup) < Decimal("0.000001")


@given(st.integers(1, 400), st.integers(1, 400))
def test_more_sheets_never_make_the_set_up_dearer_for_each(few, more):
    rates = {"hourly_rate_minor": Decimal(2000), "setup_minutes": Decimal(60)}
    assert parts(reckon(few + more, **rates))["labour"] <= parts(reckon(few, **rates))["labour"]
