from dataclasses import replace
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from orders.calc.actual import Spent, compare, reckoned_spend
from orders.calc.costrows import AdditionPrice
from tests.orders.costcases import LINTER, case

ZERO = Decimal(0)
# 100 good of 2 kg at 10.00 a kilogram and ten hours at 20.00.
RECKONED = Spent(
    good=100,
    pulls=110,
    fibre_mg=2_000_000,
    fibre_minor=Decimal(2000),
    recovered_minor=Decimal(100),
    additions_minor=Decimal(50),
    minutes=Decimal(600),
    labour_minor=Decimal(20_000),
    overhead_minor=ZERO,
    energy_water_minor=Decimal(300),
    packing_minor=Decimal(500),
)


def against(price_minor=500, system="metric", **changes):
    return compare(
        RECKONED,
        replace(RECKONED, **changes),
        currency="GBP",
        price_minor=price_minor,
        system=system,
    )


def reason(found, label):
    one = next(one for one in found.lines if one.label.startswith(label))
    return one.reason.replace("\u00a0", " ")


# --- what is reckoned, in the lines a making is kept by ------------------------------------------


def test_what_is_reckoned_adds_up_to_the_cost_of_all_sheets():
    asked = case(
        90,
        broke=Decimal("0.1"),
        trial_pulls=2,
        heel_mg=500_000,
        heel_recovered=Decimal("0.8"),
        broke_recovered=Decimal("0.5"),
        additions=[AdditionPrice("chalk", Decimal("0.05"), Decimal(300))],
        hourly_rate_minor=Decimal(2000),
        overhead_minor_per_hour=Decimal(400),
        setup_minutes=Decimal(60),
        minutes_per_pull=Decimal(6),
        kwh_per_pull=Decimal(1),
        minor_per_kwh=Decimal(30),
        packing_minor_per_sheet=Decimal(5),
    )
    found = reckoned_spend(asked)
    assert round(found.total_minor - asked.total_minor(), 9) == 0
    # By hand: 100 pulls and 2 trial pulls of 0.1 kg and a heel of 0.5 kg are 10.7 kg.
    assert found.fibre_mg == 10_700_000
    assert round(found.fibre_minor, 6) == 10_700
    # 4/5 of the heel, and half of the tenth that is broke of 10 kg: 0.4 + 0.5 kg at 10.00.
    assert round(found.recovered_minor, 6) == 900
    # 5 % of 10 + 0.2 + 0.1 kg at 3.00.
    assert round(found.additions_minor, 6) == Decimal("154.5")
    # 102 pulls of 6 minutes and 60 to set up.
    assert found.minutes == 672
    assert round(found.labour_minor, 6) == 22_400


def test_sorting_of_fibre_is_among_the_minutes():
    # By hand: 10 pulls of 0.1 kg at 30 minutes a kilogram; half is lost, so 2 kg go in.
    half = replace(LINTER, preparation_yield=Decimal("0.5"), sorting_minutes_per_kg=Decimal(30))
    assert reckoned_spend(case(10, fibres=[half])).minutes == 60


# --- the comparison ------------------------------------------------------------------------------


def test_more_fibre_at_another_price_is_parted_in_two():
    # By hand: 0.2 kg more at 10.00 is 2.00; 2.2 kg at 9.00 and not 10.00 is 2.20 less.
    found = against(fibre_mg=2_200_000, fibre_minor=Decimal(1980))
    assert reason(found, "Fibre") == (
        "0.200 kg more was issued (+£2.00); another price of its lots (−£2.20)"
    )


def test_less_fibre_at_the_same_price_is_one_reason():
    found = against(fibre_mg=1_500_000, fibre_minor=Decimal(1500))
    assert reason(found, "Fibre") == "0.500 kg less was issued (−£5.00)"


def test_fibre_that_nothing_was_reckoned_for_is_all_price():
    none = replace(RECKONED, fibre_mg=0, fibre_minor=ZERO)
    found = compare(none, RECKONED, currency="GBP", price_minor=500)
    assert "another price of its lots (+£20.00)" in reason(found, "Fibre")


def test_what_is_as_reckoned_says_so():
    found = against()
    assert {one.difference for one in found.lines} == {0}
    assert reason(found, "Fibre") == "as reckoned"
    assert reason(found, "Hours") == "10.00 h, as reckoned"
    # By hand: 227.50 over 100 is 2.275, half-way, and rounds to the even penny.
    assert found.words[1] == "A good sheet cost £2.28, as reckoned (£2.28)."


def test_fewer_hours_at_another_pay_are_parted_in_two():
    # By hand: 9 h at 20.00 are 20.00 less; 9 h at 21.00 are 9.00 more.
    found = against(minutes=Decimal(540), labour_minor=Decimal(18_900))
    assert reason(found, "Hours") == "9.00 h, 10.00 h reckoned (−£20.00); another pay (+£9.00)"


def test_notes_of_who_read_the_making_are_told():
    found = against(
        notes=(("fibre", "by the book"), ("labour", "none noted"), ("recovered", "nothing kept"))
    )
    assert reason(found, "Fibre") == "as reckoned; by the book"
    assert reason(found, "Hours").endswith("; none noted")
    assert reason(found, "Heel") == "nothing kept"


def test_what_is_kept_is_taken_off():
    kept = next(one for one in against(recovered_minor=Decimal(40)).lines if "Heel" in one.label)
    assert (kept.reckoned, kept.actual, kept.difference) == (-100, -40, 60)


def test_lines_of_nothing_are_left_out():
    assert not any(one.label.startswith("Rooms") for one in against().lines)


def test_what_the_price_leaves_and_what_it_loses():
    # By hand: 20.00 − 1.00 + 0.50 + 200.00 + 3.00 + 5.00 = 227.50 for 91 good is 2.50.
    assert against(good=91).words[2].replace("\u00a0", " ") == (
        "At the price of £5.00 that is reckoned, each leaves £2.50, 50 % of it."
    )
    assert "each loses £0.50" in against(200, good=91).words[2]
    assert against(0, good=91).words[2].endswith("each loses £2.50.")


def test_no_good_sheet_has_no_cost():
    found = against(good=0, retree=3)
    assert found.words == (
        "0 good sheets came of 100 that were reckoned with, and 3 retree.",
        "No good sheet came of it, so there is no cost of one.",
    )
    assert found.as_json()["per_sheet"] is None


def test_it_is_set_out_as_lines_with_the_whole_last():
    lines = against(packing_minor=Decimal(450)).table_lines()
    assert (lines[-1].label, lines[-1].value, lines[-1].because) == (
        "In all", "£227.00", "£227.50 reckoned",
    )  # fmt: skip
    assert lines[-2].because.startswith("£5.00 reckoned; ")


def test_it_goes_to_json_in_whole_units():
    told = against(packing_minor=Decimal(450)).as_json()
    assert (told["total"], told["total_reckoned"]) == (227.0, 227.5)
    assert told["lines"][-1]["difference"] == -0.5
    assert (told["good"], told["price_per_sheet"], told["price_is_agreed"]) == (100, 5.0, False)


def test_masses_are_worded_in_the_units_of_the_studio():
    found = against(system="US", fibre_mg=2_453_592)
    assert "1 lb 0.0 oz more was issued" in reason(found, "Fibre")


AMOUNTS = st.decimals("0", "100000", places=2)


@given(fibre=AMOUNTS, kept=AMOUNTS, labour=AMOUNTS, mg=st.integers(0, 10**8), packing=AMOUNTS)
def test_differences_of_the_lines_add_up_to_that_of_the_whole(fibre, kept, labour, mg, packing):
    found = against(
        fibre_minor=fibre, recovered_minor=kept, labour_minor=labour, fibre_mg=mg,
        packing_minor=packing,
    )  # fmt: skip
    whole = found.actual.total_minor - found.reckoned.total_minor
    assert sum(one.difference for one in found.lines) == whole
