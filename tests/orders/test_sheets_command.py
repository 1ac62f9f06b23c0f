"""The sheets command: from a line of text to the answer, without a database."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

FIBRE = {
    "mass": "10 kg",
    "moisture": "8%",
    "yield": "96%",
    "size": "A4",
    "grammage": "120 g/m2",
}
ROOT = Path(__file__).resolve().parents[2]


def line(**options):
    given = FIBRE | {name.replace("_", "-"): value for name, value in options.items()}
    return [part for name, value in given.items() for part in (f"--{name}", value)]


def ask(capsys, *flags, **options):
    call_command("sheets", *line(**options), *flags)
    return capsys.readouterr().out.replace("\u00a0", " ")


def figures(capsys, **options):
    return json.loads(ask(capsys, "--json", **options))


def test_the_answer_comes_first_and_its_working_after(capsys):
    printed = ask(capsys).splitlines()
    assert printed[0].startswith("About 1060 good sheets of 210 × 297 mm at 120 g/m²; promise")
    words = [text.split() for text in printed]
    assert ["Oven-dry", "9.20", "kg", "as", "weighed", "less", "8", "%", "moisture"] in words


def test_the_numbers_are_those_of_the_chain(capsys):
    # 8832 g / 7.328475 g = 1205.1 pulls; × 0.88 = 1060.4
    found = figures(capsys)
    assert found["oven_dry_g"] == 9200.0
    assert found["fibre_per_sheet_g"] == found["fibre_per_pull_g"] == 7.035336
    assert (found["sheets_per_pull"], found["pulls_possible"], found["good_sheets"]) == (
        1, 1205, 1060,
    )  # fmt: skip
    assert "covered" not in found


def test_sheets_wanted_add_what_they_take(capsys):
    # 1060 / 0.88 → 1205 pulls, all that there are; one sheet more takes 1206.
    enough = figures(capsys, want="1060")
    assert (enough["pulls_average"], enough["covered"]) == (1205, True)
    assert enough["short_oven_dry_g"] == 0
    short = figures(capsys, want="1061")
    assert (short["pulls_average"], short["covered"]) == (1206, False)
    # 1206 × 7.328475 / 0.96 − 9200
    assert short["short_oven_dry_g"] == pytest.approx(6.396719, abs=1e-6)
    assert short["good_sheets"] == 1060


def test_sheets_wanted_are_answered_in_words(capsys):
    printed = ask(capsys, want="2000").splitlines()
    assert printed[0] == "2000 good sheets of 210 × 297 mm at 120 g/m²: short."
    assert printed[-1].split()[0] == "Short"


def test_sheets_are_cut_from_the_pull_of_a_mould(capsys):
    found = figures(capsys, mould="520 x 391 mm", shrinkage="4% x 2.5%", trim="5 mm")
    # Dry 499.2 × 381.225 mm, less 5 mm all round: two of A4; 120 × 0.94 × 0.19030752 m²
    assert found["sheets_per_pull"] == 2
    assert found["fibre_per_pull_g"] == pytest.approx(21.466688, abs=1e-6)


def test_one_shrinkage_holds_both_ways(capsys):
    once = figures(capsys, mould="520 x 391 mm", shrinkage="4%")
    assert once == figures(capsys, mould="520 x 391 mm", shrinkage="4% x 4%")


def test_a_mould_without_shrinkage_does_not_shrink(capsys):
    # 120 × 0.94 × 0.52 × 0.391
    found = figures(capsys, mould="520 x 391 mm")
    assert found["fibre_per_pull_g"] == pytest.approx(22.934496, abs=1e-6)


def test_learned_figures_replace_broke_and_retree(capsys):
    # 900 / 0.9
    found = figures(capsys, learned="45:5", want="900")
    assert found["pulls_average"] == 1000
    assert found["pulls_safe"] > 1000


def test_units_of_the_trade_are_read(capsys):
    found = figures(capsys, mass="5 lb 4 oz", size="8.5 x 11 in", grammage="32 lb bond")
    # 84 oz × 28.349523125 g × 0.92
    assert found["oven_dry_g"] == pytest.approx(2190.851147, abs=1e-6)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"mass": "10"}, "--mass: “10” has no unit"),
        ({"mass": "10 m"}, "--mass: “10 m” is not a mass"),
        ({"moisture": "100%"}, "--moisture must be at least 0 and less than 1"),
        ({"moisture": "120%"}, "--moisture: “120%” is outside"),
        ({"yield": "0%"}, "--yield must be more than 0"),
        ({"size": "A99"}, "--size: “A99” can't be read"),
        ({"grammage": "32 lb"}, "--grammage: “32 lb” needs its basic size"),
        ({"sheet_moisture": "100%"}, "--sheet-moisture must be at least 0"),
        ({"non_fibre": "100%"}, "--non-fibre must be at least 0"),
        ({"retention": "0%"}, "--retention must be more than 0"),
        ({"broke": "60%", "retree": "50%"}, "--broke: Broke and retree together"),
        ({"broke": "100%", "retree": "0%", "want": "5"}, "--broke: No number of pulls"),
        ({"assurance": "100%"}, "--assurance must be more than 0 and less than 1"),
        ({"want": "1.5"}, "--want: “1.5” is not whole"),
        ({"want": "-3"}, "--want: “-3” has a sign before it"),
        ({"mould": "20 x 30 mm"}, "--mould: Not one sheet of"),
        ({"trim": "5 mm"}, "--trim needs --mould"),
        ({"shrinkage": "4%"}, "--shrinkage needs --mould"),
        ({"mould": "1 x 1 m", "shrinkage": "4% x"}, "--shrinkage: “4% x” can't be read"),
        ({"mould": "1 x 1 m", "shrinkage": "4 x 2"}, "--shrinkage: “4 ” has no unit"),
        ({"mould": "1 x 1 m", "shrinkage": "100%"}, "--shrinkage must be at least 0"),
        ({"mould": "1 x 1 m", "trim": "5"}, "--trim: “5” has no unit"),
        ({"learned": "45"}, "--learned: “45” can't be read. Write a:b"),
        ({"learned": "45:x"}, "--learned: “x” can't be read"),
        ({"learned": "0:5"}, "--learned: The learned a must be from"),
        (
            {"mass": "100 t", "size": "10 x 10 mm", "grammage": "1 g/m2"},
            "--mass: The chance of enough good sheets is reckoned up to",
        ),
        (
            {"want": "10000000", "learned": "45:5"},
            "--want: The chance of enough good sheets is reckoned up to",
        ),
    ],
)
def test_what_cannot_be_read_or_be_is_refused_in_one_line(options, said):
    with pytest.raises(CommandError) as refused:
        call_command("sheets", *line(**options))
    text = str(refused.value).replace("\u00a0", " ")
    assert text.startswith(said)
    assert "\n" not in text


@pytest.mark.parametrize("name", list(FIBRE))
def test_an_option_left_out_is_asked_for(name):
    left = [part for other in FIBRE if other != name for part in (f"--{other}", FIBRE[other])]
    with pytest.raises(CommandError, match=f"^--{name} is needed: "):
        call_command("sheets", *left)


@pytest.mark.parametrize(("value", "code"), [("10 kg", 0), ("ten", 1)])
def test_the_exit_says_whether_it_could_be_answered(value, code):
    run = subprocess.run(
        [sys.executable, "manage.py", "sheets", *line(mass=value), "--json"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == code
    assert bool(run.stdout) is (code == 0)
    assert len(run.stderr.splitlines()) == code


def test_what_sheets_take_can_be_asked_with_nothing_at_hand(capsys):
    # By hand: 114 pulls × 7.035336 g / 0.96 / 0.96 = 870.26 g oven-dry.
    options = {"moisture": "8%", "yield": "96%", "size": "A4", "grammage": "120 g/m2"}
    call_command("sheets", want="100", json=True, **options)
    found = json.loads(capsys.readouterr().out)
    assert round(found["short_oven_dry_g"], 1) == round(found["oven_dry_needed_g"], 1) == 870.3
    assert found["good_sheets"] == 0
    assert not found["covered"]
