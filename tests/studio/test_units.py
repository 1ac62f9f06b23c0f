"""Quantities are exact, checked at the door, and shown so that they can be typed back."""

import copy
import pickle
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.errors import StudioError
from studio.reading import read_quantity
from studio.sizes import Size
from studio.units import (
    Q,
    from_mg,
    from_um,
    mg_to_g,
    mg_to_kg,
    plain,
    show_grammage,
    show_length,
    show_mass,
    show_number,
    show_share,
    show_size,
    show_volume,
    takes,
    to_mg,
    to_um,
    ureg,
)


@takes(as_is_mass="[mass]", grammage="[grammage]")
def weigh(as_is_mass, *, grammage=None):
    return as_is_mass, grammage


@pytest.mark.parametrize("magnitude", [2.5, True, None, Fraction(1, 2)])
def test_a_magnitude_that_is_not_exact_is_refused(magnitude):
    with pytest.raises(StudioError, match="must be an int, a str or a Decimal"):
        Q(magnitude, "kg")


@pytest.mark.parametrize("magnitude", ["1e400", "NaN", "2,5", "２", "9**9", "", "1_000"])
def test_a_magnitude_in_text_is_digits_with_a_point(magnitude):
    with pytest.raises(StudioError, match="digits with a point"):
        Q(magnitude, "kg")


@pytest.mark.parametrize("magnitude", ["NaN", "Infinity", "-Infinity"])
def test_a_magnitude_that_is_not_finite_is_refused(magnitude):
    with pytest.raises(StudioError, match="must be finite"):
        Q(Decimal(magnitude), "kg")


def test_three_tenths_of_a_kilogram_are_exact():
    assert Q("0.1", "kg") + Q("0.1", "kg") + Q("0.1", "kg") == Q("0.3", "kg")


def test_registry_knows_no_prefixed_pound():
    assert "kilopound" not in ureg


def test_quantity_survives_a_copy_and_a_pickle():
    quantity = Q("2.5", "kg")
    assert copy.deepcopy(quantity) + pickle.loads(pickle.dumps(quantity)) == Q(5, "kg")


def test_a_huge_exponent_is_left_alone():
    assert plain(Decimal("1E+400")) == Decimal("1E+400")
    assert str(plain(Decimal("1.5E+3"))) == "1500"


def test_takes_passes_the_right_dimensions_on():
    assert weigh(Q(1, "kg"), grammage=Q(80, "g/m2")) == (Q(1, "kg"), Q(80, "g/m2"))


def test_takes_leaves_an_argument_at_its_default_of_none():
    assert weigh(Q(1, "kg"), grammage=None) == (Q(1, "kg"), None)


def test_takes_names_the_function_and_every_wrong_argument():
    with pytest.raises(
        StudioError,
        match=(
            r"^weigh: as_is_mass must be a mass such as 2\.5 kg, got 3 metre; "
            r"grammage must be a grammage such as 120 g/m², got 80 without a unit\.$"
        ),
    ):
        weigh(Q(3, "m"), grammage=80)


def test_takes_refuses_none_where_there_is_no_default():
    with pytest.raises(StudioError, match="as_is_mass must be a mass"):
        weigh(None)


def test_takes_refuses_a_float_inside_a_quantity():
    with pytest.raises(StudioError, match=r"with a Decimal magnitude, got 2\.5"):
        weigh(ureg.Quantity(2.5, "kg"))


def test_stored_masses_and_lengths_round_half_even_once():
    # 0.5 mg and 1.5 mg lie halfway: to the even 0 and 2.
    assert [to_mg(Q(text, "mg")) for text in ("0.5", "1.5", "2.5")] == [0, 2, 2]
    assert [to_um(Q(text, "um")) for text in ("0.5", "1.5", "2.5")] == [0, 2, 2]


@pytest.mark.parametrize(("convert", "word"), [(to_mg, "mass"), (to_um, "length")])
def test_conversion_of_another_dimension_is_refused(convert, word):
    with pytest.raises(StudioError, match=f"{word} must be a {word}"):
        convert(Q(1, "L"))


@given(st.integers(0, 10**14))
def test_stored_integers_come_back(number):
    assert to_mg(from_mg(number)) == number
    assert to_um(from_um(number)) == number


def test_plain_numbers_for_export_are_exact():
    assert (mg_to_kg(2_500_000), mg_to_g(7_040)) == (Decimal("2.5"), Decimal("7.04"))


@pytest.mark.parametrize(
    ("mass_mg", "words"),
    [
        (0, "0 kg"),
        (1, "0.001 g"),
        (999, "0.999 g"),
        (7_040, "7.04 g"),
        (99_994, "99.99 g"),
        (99_996, "0.100 kg"),
        (360_000, "0.360 kg"),
        (999_499, "0.999 kg"),
        (999_500, "1.00 kg"),
        (14_620_000, "14.62 kg"),
        (-360_000, "−0.360 kg"),
        (12_345_678_900, "12\u202f345.68 kg"),
    ],
)
def test_mass_is_shown_in_three_or_four_figures(mass_mg, words):
    assert show_mass(mass_mg).replace("\xa0", " ") == words


@pytest.mark.parametrize(
    ("mass_mg", "words"),
    [
        (0, "0 oz"),
        (1, "0.000035 oz"),  # 0.001 / 28.349523125 = 0.00003527
        (1000, "0.0353 oz"),  # 1 / 28.349523125 = 0.03527
        (100_000, "3.53 oz"),  # 100 / 28.349523125 = 3.527
        (453_592, "1 lb 0.0 oz"),
        (2_381_359, "5 lb 4.0 oz"),  # 84 oz are 2381.36 g
        (2_267_000, "5 lb 0.0 oz"),  # 79.966 oz round to 80.0
        (-2_381_359, "−5 lb 4.0 oz"),
    ],
)
def test_mass_in_the_us_system_is_pounds_and_ounces(mass_mg, words):
    assert show_mass(mass_mg, system="US").replace("\xa0", " ") == words


def test_mass_takes_the_unit_and_places_of_a_column():
    quantity = Q("0.36", "kg")
    assert show_mass(quantity, unit="g") == "360.00\xa0g"
    assert show_mass(quantity, unit="kg", places=1) == "0.4\xa0kg"
    assert show_mass(quantity, places=1) == "0.4\xa0kg"
    assert show_mass(Q(2, "kg"), places=0) == "2\xa0kg"
    assert show_mass(Q(2, "g"), places=0) == "2\xa0g"
    assert show_mass(Q(2, "oz"), system="US", places=0) == "2\xa0oz"
    assert show_mass(Q(2, "lb"), system="US", places=0) == "2\xa0lb\xa00\xa0oz"


def test_what_is_not_a_mass_is_not_shown_as_one():
    with pytest.raises(StudioError, match=r"^What is shown must be a mass"):
        show_mass(Q(3, "m"))


def test_lengths_and_sizes_are_shown_in_millimetres_or_inches():
    assert show_length(130_700) == "130.7\xa0mm"
    assert show_length(Q(1, "m")) == "1000\xa0mm"
    assert show_length(Q("12.345", "mm"), places=2) == "12.34\xa0mm"
    letter = Size(215_900, 279_400)
    assert show_size(letter) == "215.9\xa0×\xa0279.4\xa0mm"
    assert show_size(letter, system="US") == "8.5\xa0×\xa011\xa0in"
    assert show_size(letter, places=0) == "216\xa0×\xa0279\xa0mm"


def test_grammages_are_shown_to_a_tenth():
    shown = [show_grammage(120), show_grammage(Q("75.195", "g/m2")), show_grammage(Decimal(80))]
    assert shown == ["120\xa0g/m²", "75.2\xa0g/m²", "80\xa0g/m²"]


@pytest.mark.parametrize(
    ("quantity", "system", "places", "words"),
    [
        (Q(60, "L"), "metric", None, "60 L"),
        (Q(0, "L"), "metric", None, "0 L"),
        (Q("946.353", "mL"), "metric", None, "946.4 mL"),
        (Q("946.353", "mL"), "metric", 0, "946 mL"),
        (Q(4, "cup"), "US", None, "4 cups"),
        (Q("1.5", "gallon"), "US", None, "1.5 gal"),
        (Q("1.5", "gallon"), "US", 0, "2 gal"),
    ],
)
def test_volumes_are_shown_in_litres_or_cups(quantity, system, places, words):
    assert show_volume(quantity, system=system, places=places).replace("\xa0", " ") == words


def test_shares_are_shown_in_percent():
    shown = [show_share(Decimal("0.065")), show_share(Decimal("0.08")), show_share(Fraction(1, 3))]
    assert shown == ["6.5\xa0%", "8\xa0%", "33.3\xa0%"]


@pytest.mark.parametrize(
    ("number", "places", "words"),
    [
        (Decimal("-7.040"), None, "−7.04"),
        (Decimal("-7.040"), 2, "−7.04"),
        (Decimal("-0.001"), 2, "0.00"),
        (Decimal("1E+3"), None, "1000"),
        (9999, None, "9999"),
        (12_500, None, "12\u202f500"),
        (1_234_567, 1, "1\u202f234\u202f567.0"),
        (Fraction(1, 3), None, "0.333333"),
        (Fraction(5, 2), 0, "2"),
    ],
)
def test_numbers_have_a_true_minus_and_narrow_spaces(number, places, words):
    assert show_number(number, places=places) == words


@given(st.integers(1, 10**11 - 10**6))
def test_every_mass_shown_reads_back_within_its_last_figure(mass_mg):
    metric = read_quantity(show_mass(mass_mg), "mass")
    assert abs(to_mg(metric) - mass_mg) <= max(5_000, mass_mg // 150)
    if mass_mg > 100:
        us = read_quantity(show_mass(mass_mg, system="US"), "mass")
        assert abs(to_mg(us) - mass_mg) <= max(1_418, mass_mg // 150)


@given(st.integers(1_000, 10**7), st.integers(1_000, 10**7))
def test_every_size_shown_reads_back(width_um, height_um):
    read = read_quantity(show_size(Size(width_um, height_um)), "size")
    assert abs(read.width_um - width_um) <= 50
    assert abs(read.height_um - height_um) <= 50


@given(st.integers(0, 1000))
def test_every_share_shown_reads_back(thousandths):
    share = Decimal(thousandths) / 1000
    assert read_quantity(show_share(share), "share") == share


def test_volume_and_grammage_shown_read_back():
    assert read_quantity(show_volume(Q(60, "L")), "volume") == Q(60, "L")
    assert read_quantity(show_volume(Q(4, "cup"), system="US"), "volume") == Q(4, "cup")
    assert read_quantity(show_grammage(120), "grammage") == Q(120, "g/m2")
    assert read_quantity(show_number(12_500), "count") == 12_500
