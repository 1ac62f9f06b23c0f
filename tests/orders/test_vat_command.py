"""The vat command: every quantity on the line without a database, or one commission's."""

import json
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.builders import (
    make_commission,
    make_furnish,
    make_making,
    make_mould,
    make_sheet,
    make_studio,
    make_vat,
)

VAT = {
    "volume": "60 L",
    "mould": "297 x 210 mm",
    "draw": "20 mm",
    "wet-grammage": "100 g/m2",
    "retention": "97%",
    "carry": "0.1 L",
    "pulls": "10",
    "tolerance": "5%",
    "thick": "40 g/L",
}
ROOT = Path(__file__).resolve().parents[2]


def line(left_out=(), **options):
    given = VAT | {name.replace("_", "-"): value for name, value in options.items()}
    return [
        part for name, value in given.items() if name not in left_out
        for part in (f"--{name}", value)
    ]  # fmt: skip


def said(capsys, *arguments):
    call_command("vat", *arguments)
    return capsys.readouterr().out.replace("\u00a0", " ")


def figures(capsys, *arguments):
    return json.loads(said(capsys, *arguments, "--json"))


@pytest.fixture
def commission(db):
    """Return 40 sheets of A4, 120 g/m², off a mould of that opening that draws 20 mm."""
    make_studio(grammage_tolerance="0.1", furnish_consistency="0.02", couched_solids="0.2")
    make_vat(name="Blue vat")
    mould = make_mould(name="A4 wove", width_um=210_000, height_um=297_000, draw_um=20_000)
    sheet = make_sheet(
        make_furnish(), mould=mould, width_um=210_000, height_um=297_000, grammage="120",
        retention="0.96", broke="0", retree="0", sheet_moisture="0.06",
    )  # fmt: skip
    return make_commission(sheet, ref="C-101", good_quantity=40)


def test_the_answer_comes_first_and_its_working_after(capsys):
    printed = said(capsys, *line()).splitlines()
    assert printed[0] == (
        "Charge 60 L with 0.309 kg of fibre; top up with 309 mL after every 2 pulls."
    )
    assert printed[1].split()[:3] == ["Consistency", "5.15", "g/L"]
    assert "letter sheets" in printed[-1]


def test_the_numbers_are_those_of_the_worked_instance(capsys):
    found = figures(capsys, *line())
    assert found["consistency_g_per_l"] == 5.154639
    assert found["fibre_charge_g"] == pytest.approx(309.2784, abs=5e-5)
    assert found["effective_draw_l"] == 1.209978
    assert found["pulls_within_tolerance"] == 3
    assert (found["first_g_m2"], found["last_g_m2"]) == (100.0, 84.409951)
    assert (found["recharge_thick_l"], found["recharge_water_l"]) == (1.434931, -0.434931)


def test_thick_stuff_can_be_given_in_percent(capsys):
    assert figures(capsys, *line(thick="4%")) == figures(capsys, *line(thick="40 g/L"))


def test_a_vat_without_thick_stuff_is_left_to_thin(capsys):
    printed = said(capsys, *line(left_out=["thick"]))
    assert printed.splitlines()[0].endswith("The first 3 keep within the tolerance.")
    assert figures(capsys, *line(left_out=["thick"]))["recharge_thick_l"] is None


def test_a_vat_that_does_not_thin_keeps_all_within(capsys):
    options = line(left_out=["thick"], mould="50 x 50 mm")
    assert "All sheets keep within the tolerance." in said(capsys, *options)
    assert "It needs no top-up." in said(capsys, *line(mould="50 x 50 mm"))


def test_what_is_left_out_is_the_usual_figure(capsys):
    left_out = ["retention", "carry", "tolerance"]
    usual = figures(capsys, *line(left_out=left_out))
    assert usual == figures(capsys, *line(retention="100%", carry="0 L", tolerance="10%"))


def test_a_share_lost_takes_more_out_of_the_vat(capsys):
    found = figures(capsys, *line(lost="4%"))
    assert found["fibre_total_g"] > figures(capsys, *line())["fibre_total_g"]
    assert found["fibre_charge_g"] == figures(capsys, *line())["fibre_charge_g"]


def test_every_pull_is_said_without_a_number(capsys):
    assert "after every pull." in said(capsys, *line(volume="10 L"))


def test_kitchen_measures_are_read(capsys):
    # 20 cups in a dish of 12 × 12 in: 4.7318 L.
    found = figures(capsys, *line(volume="20 cups", mould="4 x 6 in", draw="0.5 in"))
    assert found["fibre_charge_g"] / found["consistency_g_per_l"] == pytest.approx(4.73176, 1e-5)


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        ({"volume": "60"}, "--volume: “60” has no unit"),
        ({"mould": "A99"}, "--mould: “A99” can't be read"),
        ({"draw": "20 kg"}, "--draw: “20 kg” is not a length"),
        ({"wet_grammage": "100"}, "--wet-grammage: “100” has no unit"),
        ({"retention": "0%"}, "--retention must be more than 0"),
        ({"carry": "0.1"}, "--carry: “0.1” has no unit"),
        ({"pulls": "1.5"}, "--pulls: “1.5” is not whole"),
        ({"pulls": "2000000"}, "--pulls: Pulls must be a whole number from 1"),
        ({"tolerance": "0%"}, "--tolerance must be more than 0 and less than 1"),
        ({"lost": "100%"}, "--lost must be at least 0 and less than 1"),
        ({"thick": "40"}, "--thick: “40” has no unit"),
        ({"thick": "4 g/L"}, "--thick: The stuff to top up with must be thicker than the vat"),
        ({"thick": "0%"}, "--thick must be more than 0 and less than 1"),
        ({"volume": "1 L"}, "--volume: One pull takes the fibre of 1.21 L"),
    ],
)
def test_what_cannot_be_read_or_be_is_refused_in_one_line(options, fault):
    with pytest.raises(CommandError) as refused:
        call_command("vat", *line(**options))
    text = str(refused.value).replace("\u00a0", " ")
    assert text.startswith(fault)
    assert "\n" not in text


@pytest.mark.parametrize("name", ["volume", "mould", "draw", "wet-grammage", "pulls"])
def test_an_option_left_out_is_asked_for(name):
    with pytest.raises(CommandError, match=f"^--{name} is needed: "):
        call_command("vat", *line(left_out=[name]))


@pytest.mark.parametrize(("volume", "code"), [("60 L", 0), ("sixty", 1)])
def test_no_database_is_needed_and_the_exit_says_whether_it_was_answered(tmp_path, volume, code):
    run = subprocess.run(
        [sys.executable, "manage.py", "vat", *line(volume=volume), "--json"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": "/usr/bin:/bin", "HALFSTUFF_DATA": str(tmp_path)},
    )
    assert run.returncode == code, run.stderr
    assert bool(run.stdout) is (code == 0)
    assert len(run.stderr.splitlines()) == code
    assert list(tmp_path.glob("*.sqlite3*")) == []


# --- from the store ----------------------------------------------------------------------------


def test_a_commission_brings_its_sheet_mould_vat_and_habits(capsys, commission):
    found = figures(capsys, "--commission", commission.ref)
    # 7.035336 g / 0.06237 m² = 112.8 g/m²; / 20 mm = 5.64 g/L; × 60 L = 338.4 g
    assert found["first_g_m2"] == pytest.approx(112.8)
    assert found["consistency_g_per_l"] == pytest.approx(5.64)
    assert found["fibre_charge_g"] == pytest.approx(338.4)
    assert found["effective_draw_l"] == pytest.approx(1.2474)


def test_what_a_commission_is_reckoned_with_is_said(capsys, commission):
    printed = said(capsys, "--commission", commission.ref)
    assert "For the next making: 40 pulls for 40 good sheets." in printed
    assert "Mould: A4 wove." in printed
    assert "Vat: Blue vat." in printed
    assert "No draw is known" not in printed


def test_the_heel_is_that_of_the_making_sheet(capsys, commission):
    """The last scoop is cut, so that the vat holds less than its charge; the sheet says both."""
    making = make_making(
        commission.sheet, commission, pulls=44, wanted_good=40, mould=commission.sheet.mould,
        vat=make_vat(name="Small vat"),
    )  # fmt: skip
    call_command("making", making.ref, "--json")
    on_the_wall = json.loads(capsys.readouterr().out)
    in_the_vat = figures(capsys, "--commission", commission.ref)
    assert on_the_wall["charge"] == in_the_vat
    assert on_the_wall["left_in_vat_g"] == pytest.approx(in_the_vat["heel_fibre_g"], abs=1e-3)
    assert on_the_wall["left_in_vat_g"] < on_the_wall["fibre_heel_g"]
    printed = said(capsys, "--commission", commission.ref)
    over = f"{on_the_wall['left_in_stuff_g']:.2f} g stays over in stuff that is not poured."
    assert over in printed
    assert "The making sheet has" in printed
    # Of another vat the making sheet says nothing.
    other = said(capsys, "--commission", commission.ref, "--volume", "80 L")
    assert "The making sheet" not in other


def test_an_open_making_of_the_commission_comes_before_what_is_usual(capsys, commission):
    making = make_making(
        commission.sheet, commission, pulls=12, wanted_good=9, mould=commission.sheet.mould,
        vat=make_vat(name="Small vat", depth_um=100_000), consistency=Decimal("0.006"),
    )  # fmt: skip
    printed = said(capsys, "--commission", commission.ref)
    assert f"For making {making.ref}: 12 pulls for 9 good sheets." in printed
    assert "Vat: Small vat." in printed
    assert "The consistency of 0.6 % was said for this making." in printed


def test_a_mould_whose_draw_nobody_weighed_is_taken_at_the_usual_consistency(capsys, commission):
    mould = commission.sheet.mould
    mould.draw_um = None
    mould.save()
    assert "taken at the studio’s 0.5 %" in said(capsys, "--commission", commission.ref)
    assert figures(capsys, "--commission", commission.ref)["consistency_g_per_l"] == 5.0


def test_what_is_on_the_line_goes_before_the_store(capsys, commission):
    asked = ["--commission", commission.ref, "--volume", "30 L", "--draw", "25 mm"]
    # 112.8 / 25 × 30
    assert figures(capsys, *asked)["fibre_charge_g"] == pytest.approx(135.36)
    assert "Blue vat" not in said(capsys, *asked)


def test_the_units_are_the_studios(capsys, commission):
    make_studio(units="US")
    assert "gal" in said(capsys, "--commission", commission.ref)


def test_retention_belongs_to_a_draw_on_the_line(commission):
    with pytest.raises(CommandError, match="--retention needs --draw"):
        call_command("vat", "--commission", commission.ref, "--retention", "90%")


@pytest.mark.django_db
def test_without_a_vat_the_volume_is_asked_for():
    commission = make_commission(make_sheet(make_furnish(), mould=make_mould()))
    with pytest.raises(CommandError, match="--volume is needed"):
        call_command("vat", "--commission", commission.ref)


def test_a_commission_is_found_however_it_is_typed(capsys, commission):
    exact = figures(capsys, "--commission", commission.ref)
    assert figures(capsys, "--commission", f" {commission.ref.lower()} ") == exact


def test_a_commission_left_blank_is_asked_for(commission):
    with pytest.raises(CommandError) as refused:
        call_command("vat", "--commission", "")
    assert str(refused.value) == (
        "--commission: Give the reference of a commission. There are: C-101."
    )


def test_what_is_near_an_unknown_commission_is_named(commission):
    with pytest.raises(CommandError, match=r"No commission is called 'C-100'\. Near it: C-101\."):
        call_command("vat", "--commission", "C-100")


def test_an_unknown_commission_is_refused_with_the_known_ones(commission):
    with pytest.raises(CommandError, match=r"No commission is called 'C-9'\. There are: C-101"):
        call_command("vat", "--commission", "C-9")


@pytest.mark.django_db
def test_where_there_is_no_commission_at_all_that_is_said():
    with pytest.raises(CommandError, match="There are: none yet"):
        call_command("vat", "--commission", "C-9")


def test_a_long_list_of_commissions_is_cut(commission):
    for number in range(13):
        make_commission(commission.sheet, commission.client, ref=f"D-{number:02d}")
    with pytest.raises(CommandError, match="D-10 and 2 more"):
        call_command("vat", "--commission", "C-9")
