"""The fibres a studio starts with: what each figure is from, and that loading spoils nothing."""

from __future__ import annotations

import re
from decimal import Decimal
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command

from fibres.models import Fibre
from fibres.reference import load_fibres, read_fibres
from fibres.services import Receipt, receive
from studio import people
from studio.errors import StudioError
from tests.builders import KG, day, make_fibre, make_source

ROWS = read_fibres()
BY_NAME = {row["name"]: row for row in ROWS}
USABLE = [row for row in ROWS if not row["is_refused"]]
REFUSED = [row for row in ROWS if row["is_refused"]]

# What the issue names, each by the name it has here.
NAMED = """
Cotton linter sheet
Cotton rag half-stuff
Old rags
Abaca pulp sheet
Raw abaca
Flax line
Flax half-stuff
Hemp line
Hemp half-stuff
Kozo black bark
Kozo white bark
Kozo cleaned fibre
Mitsumata white bark
Gampi white bark
Sisal
Cereal straw
Esparto
Wood pulp sheet
Ready-beaten cotton pulp
Unprinted white offcuts
White office paper
Coloured office paper
Cross-cut shred
Rag paper offcuts
Envelopes
Newspaper and paperbacks
Kraft bags
Corrugated board
Glossy magazines
Inclusions
Own broke
Till receipts and thermal paper
Carbon and carbonless copy paper
Laminated and plastic-coated paper
Food-soiled paper
""".strip().splitlines()

# Usable share of each scrap class, lowest and highest: common practice, no source.
USABLE_SHARES = {
    "Unprinted white offcuts": ("0.85", "0.92"),
    "White office paper": ("0.75", "0.85"),
    "Coloured office paper": ("0.75", "0.85"),
    "Cross-cut shred": ("0.65", "0.78"),
    "Rag paper offcuts": ("0.90", "0.97"),
    "Envelopes": ("0.75", "0.85"),
    "Newspaper and paperbacks": ("0.80", "0.90"),
    "Kraft bags": ("0.88", "0.95"),
    "Corrugated board": ("0.85", "0.92"),
    "Glossy magazines": ("0.45", "0.65"),
    "Own broke": ("0.93", "0.98"),
}

# Yields with a printed figure behind them.
PRINTED = {
    # 825 g of black bark to 245 g of cleaned fibre: a papermaking household's figures.
    "Kozo black bark": (Decimal(245) / Decimal(825), "0.0005"),
    # 40.6 %, Scientific Reports 14 (2024) 24300, mill pulping of flax straw.
    "Flax straw": (Decimal("0.406"), "0.01"),
    # 11.4 % lost before boiling, Modern Paper-Making, p. 33; 5 to 15 % after, from memory.
    "Old rags": (Decimal("0.886") * Decimal("0.90"), "0.01"),
}


@pytest.mark.parametrize("name", NAMED)
def test_the_list_has_what_a_studio_is_likely_to_hold(name: str) -> None:
    assert name in BY_NAME


def test_every_name_is_there_once() -> None:
    assert len({row["name"].casefold() for row in ROWS}) == len(ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["name"])
def test_every_row_can_be_kept_as_it_is_written(row: dict[str, Any]) -> None:
    assert re.fullmatch(r"[A-Z]{1,3}", row["code"])
    for name in (
        "usual_moisture",
        "preparation_yield",
        "yield_spread",
        "sorting_minutes_per_kg",
    ):
        assert isinstance(row[name], str)
        assert re.fullmatch(r"\d+(\.\d+)?", row[name])
    assert isinstance(row["preparation_days"], int)
    assert row["state"]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["name"])
def test_every_figure_says_where_it_is_from(row: dict[str, Any]) -> None:
    given = {"usual_moisture", "preparation_yield", "yield_spread", "source_class"}
    if row["keeps_wet_days"] is not None:
        given.add("keeps_wet_days")
    if row["preparation_days"]:
        given.add("preparation_days")
    if Decimal(row["sorting_minutes_per_kg"]):
        given.add("sorting_minutes_per_kg")
    assert set(row["evidence"]) == given
    assert all(len(words) > 8 for words in row["evidence"].values())


@pytest.mark.parametrize("row", USABLE, ids=lambda row: row["name"])
def test_moisture_and_yield_are_of_the_right_size(row: dict[str, Any]) -> None:
    wet = "wet" in row["state"]
    low, high = ("0.5", "0.95") if wet else ("0.03", "0.16")
    assert Decimal(low) <= Decimal(row["usual_moisture"]) <= Decimal(high)
    assert Decimal("0.2") <= Decimal(row["preparation_yield"]) <= 1


@pytest.mark.parametrize("name", USABLE_SHARES)
def test_usable_share_of_scrap_lies_in_the_usual_band(name: str) -> None:
    low, high = map(Decimal, USABLE_SHARES[name])
    assert low <= Decimal(BY_NAME[name]["preparation_yield"]) <= high


@pytest.mark.parametrize("row", USABLE, ids=lambda row: row["name"])
def test_a_yield_stays_a_yield_two_spreads_either_way(row: dict[str, Any]) -> None:
    """From memory: bought sheets vary by a point, cooked bark and mixed rags by five."""
    share, spread = Decimal(row["preparation_yield"]), Decimal(row["yield_spread"])
    assert Decimal(0) <= spread <= Decimal("0.05")
    assert share - 2 * spread > 0
    assert share + 2 * spread <= Decimal("1.01")


@pytest.mark.parametrize("name", USABLE_SHARES)
def test_two_spreads_span_the_usual_band_of_scrap(name: str) -> None:
    low, high = map(Decimal, USABLE_SHARES[name])
    spread = Decimal(BY_NAME[name]["yield_spread"])
    assert high - low <= 4 * spread <= (high - low) * Decimal("1.25")


def test_what_is_cooked_takes_days_and_what_is_bought_prepared_takes_none() -> None:
    """From memory; scenario H1 counts 7 days in all for linter and abaca in sheets."""
    for row in USABLE:
        cooked = row["family"] in {"bast", "leaf", "grass"} and Decimal(
            row["preparation_yield"]
        ) < Decimal("0.9")
        assert (row["preparation_days"] > 0) == (cooked or "alkali" in row["cautions"])


@pytest.mark.parametrize("name", PRINTED)
def test_yields_with_a_printed_figure_agree_with_it(name: str) -> None:
    printed, within = PRINTED[name]
    assert abs(Decimal(BY_NAME[name]["preparation_yield"]) - printed) <= Decimal(within)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["name"])
def test_scrap_and_refused_rows_say_what_to_turn_away(row: dict[str, Any]) -> None:
    assert bool(row["refusals"]) == row["is_scrap"]


def test_own_broke_is_in_house_and_no_gift() -> None:
    row = BY_NAME["Own broke"]
    assert (row["source_class"], row["is_scrap"]) == ("in-house", False)


def test_everything_that_is_cooked_warns_of_alkali() -> None:
    cooked = [row for row in ROWS if "cook" in row["state"] and "cooked" not in row["state"]]
    assert len(cooked) > 8
    assert all("alkali" in row["cautions"] for row in cooked)


@pytest.mark.django_db
def test_loading_fills_an_empty_store() -> None:
    assert load_fibres() == len(ROWS)
    assert set(Fibre.objects.values_list("name", flat=True)) == set(BY_NAME)
    for fibre in Fibre.objects.all():
        fibre.full_clean()


@pytest.mark.django_db
def test_a_loaded_fibre_carries_its_figures_evidence_and_caution() -> None:
    load_fibres()
    kozo = Fibre.objects.get(name="Kozo black bark")
    assert kozo.preparation_yield == Decimal("0.297")
    assert "Preparation yield: one papermaking household's figures" in kozo.evidence
    assert "alkali" in kozo.cautions.lower()


@pytest.mark.django_db
def test_loading_twice_adds_nothing() -> None:
    load_fibres()
    assert load_fibres() == 0
    assert Fibre.objects.count() == len(ROWS)


@pytest.mark.django_db
def test_what_the_studio_has_changed_stays() -> None:
    load_fibres()
    Fibre.objects.filter(name="Kozo white bark").update(preparation_yield="0.61", cautions="Mine")
    Fibre.objects.get(name="Sisal").delete()
    assert load_fibres() == 1
    kozo = Fibre.objects.get(name="Kozo white bark")
    assert (kozo.preparation_yield, kozo.cautions) == (Decimal("0.61"), "Mine")


@pytest.mark.django_db
def test_a_name_in_other_capitals_is_the_same_fibre() -> None:
    make_fibre(name="SISAL")
    assert load_fibres() == len(ROWS) - 1


@pytest.mark.django_db
def test_loading_asks_the_database_a_fixed_number_of_times(
    django_assert_max_num_queries: Any,
) -> None:
    with django_assert_max_num_queries(4):
        load_fibres()


@pytest.mark.django_db
@pytest.mark.parametrize("row", REFUSED, ids=lambda row: row["name"])
def test_a_refused_class_cannot_be_entered(row: dict[str, Any]) -> None:
    load_fibres()
    fibre = Fibre.objects.get(name=row["name"])
    receipt = Receipt(
        fibre=fibre,
        source=make_source(),
        as_is_mg=KG,
        moisture=fibre.usual_moisture,
        received_on=day(),
    )
    with pytest.raises(StudioError, match="refused at the door"):
        receive(receipt, by=None)
    assert not fibre.lots.exists()


@pytest.mark.django_db
def test_the_first_owner_finds_the_fibres() -> None:
    people.make_roles()
    people.make_owner("first", None)
    assert Fibre.objects.count() == len(ROWS)


@pytest.mark.django_db
def test_the_command_says_how_many_were_added() -> None:
    out = StringIO()
    call_command("load_reference", stdout=out)
    Fibre.objects.get(name="Sisal").delete()
    call_command("load_reference", stdout=out)
    assert out.getvalue().splitlines() == [f"{len(ROWS)} fibres added.", "1 fibre added."]


@pytest.mark.django_db
def test_a_dry_run_names_them_and_writes_nothing() -> None:
    out = StringIO()
    call_command("load_reference", dry_run=True, stdout=out)
    lines = out.getvalue().splitlines()
    assert lines[:-1] == [row["name"] for row in ROWS]
    assert lines[-1] == f"{len(ROWS)} fibres would be added. Nothing was written."
    assert not Fibre.objects.exists()
