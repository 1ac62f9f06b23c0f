import json
import re
import time
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from orders.calc.cover import allocate
from orders.management.commands import cover
from orders.models import Commission
from studio import commands
from tests.builders import day, make_commission, make_fibre, make_furnish, make_lot, make_sheet
from tests.orders.plans import lot, part, plan, promise

pytestmark = pytest.mark.django_db


def run(*args, **options):
    out = StringIO()
    call_command(*args, stdout=out, stderr=StringIO(), **options)
    return out.getvalue()


@pytest.fixture
def fibre():
    return make_fibre(name="Abaca sheet pulp", is_scrap=True)


@pytest.fixture
def sheet(fibre):
    return make_sheet(make_furnish({fibre: "1"}), name="Text A4")


def refused(*args):
    with pytest.raises(CommandError, match=r".") as caught:
        run(*args)
    return str(caught.value)


# --- cover ------------------------------------------------------------------------------------


def test_cover_says_what_is_covered_and_what_to_weigh_out(fibre, sheet):
    held = make_lot(fibre)
    make_commission(sheet, ref="C-101")
    said = run("cover")
    assert said.startswith("The store covers the one promise.")
    assert "C-101: Covered. 100 good sheets" in said
    assert f"as is of {held.ref}, Abaca sheet pulp" in said


def test_cover_says_what_is_short(sheet):
    make_commission(sheet, ref="C-101")
    said = run("cover")
    assert "C-101 is short: 0.879 kg oven-dry of Abaca sheet pulp is missing by" in said.replace(
        "\u00a0", " "
    )
    assert "0 of 100 good sheets can be made" in said


def test_cover_of_nothing_says_so():
    assert run("cover").strip() == "Nothing is promised yet."


def test_cover_of_one_commission_answers_for_that_one(fibre, sheet):
    make_lot(fibre)
    make_commission(sheet, ref="C-101")
    make_commission(sheet, ref="C-102")
    said = run("cover", "C-102")
    assert "C-102" in said
    assert "C-101" not in said


def test_cover_answers_for_an_enquiry_as_if_it_were_agreed(sheet):
    make_commission(sheet, ref="C-101", state=Commission.State.ENQUIRY)
    assert "C-101: Short" in run("cover", "C-101")


def test_cover_counts_what_is_quoted_by_choice(sheet):
    make_commission(sheet, ref="C-101", state=Commission.State.QUOTED)
    assert "C-101" not in run("cover")
    assert "C-101" in run("cover", "--with-quoted")


def test_cover_as_json_is_one_object_with_the_keys_of_the_schema(sheet):
    make_commission(sheet, ref="C-101")
    said = json.loads(run("cover", "C-101", "--json"))
    assert set(said) == {"today", "all_covered", "lot_cost_minor", "commissions", "binding"}
    assert [row["state"] for row in said["commissions"]] == ["short"]


def test_cover_of_an_unknown_commission_names_those_there_are(sheet):
    for number in range(14):
        make_commission(sheet, ref=f"C-{number:03d}")
    said = refused("cover", "C-999")
    assert "No open commission is called 'C-999'." in said
    assert "C-000, C-001" in said
    assert said.endswith("and 2 more.")


@pytest.mark.parametrize("typed", ["c-101", " C-101 "])
def test_cover_finds_a_commission_however_it_is_typed(sheet, typed):
    make_commission(sheet, ref="C-101")
    make_commission(sheet, ref="C-102", state="enquiry")
    assert json.loads(run("cover", typed, "--json"))["commissions"][0]["ref"] == "C-101"
    asked = json.loads(run("cover", typed.replace("101", "102"), "--json"))
    assert [row["ref"] for row in asked["commissions"]] == ["C-102"]


def test_cover_names_what_is_near_an_unknown_commission(sheet):
    make_commission(sheet, ref="C-101")
    assert refused("cover", "c-1001").endswith("called 'c-1001'. Near it: C-101.")


def test_cover_of_a_commission_that_cannot_be_reckoned_says_why(sheet):
    sheet.furnish.parts.all().delete()
    make_commission(sheet, ref="C-101")
    assert "has no fibre yet" in refused("cover", "C-101")
    assert "C-101: cannot be reckoned." in run("cover")


@pytest.mark.parametrize("args", [[], ["C-101"]])
def test_strict_exits_2_where_something_is_short(sheet, args):
    make_commission(sheet, ref="C-101")
    with pytest.raises(SystemExit, match="2"):
        run("cover", *args, "--strict")


def test_strict_is_content_where_nothing_is_short(fibre, sheet):
    make_lot(fibre)
    make_commission(sheet, ref="C-101")
    assert "Covered" in run("cover", "--strict")
    assert "Covered" in run("cover", "C-101", "--strict")


def plainly(*args):
    return run(*args).replace("\u00a0", " ")


def test_cover_says_which_fibre_binds_and_by_how_much(fibre, sheet):
    held = make_lot(fibre, as_is_mg=1_500_000)
    make_commission(sheet, ref="C-101")
    make_commission(sheet, ref="C-102")
    said = plainly("cover")
    # By hand: twice 835.45 g usable, of 1.5 kg × 0.92 × 0.95.
    assert "C-101, C-102 need 1.671 kg usable of Abaca sheet pulp" in said
    assert f"lot {held.ref} holds 1.311 kg; 0.360 kg is missing." in said
    assert "What would mend it" not in said


def test_cover_of_one_commission_lists_what_would_mend_it(fibre, sheet):
    make_lot(fibre, as_is_mg=500_000)
    make_commission(sheet, ref="C-101")
    said = plainly("cover", "C-101")
    assert "  What would mend it:\n  - There is no plan without a purchase." in said
    assert "  - Buy 0.419 kg oven-dry of Abaca sheet pulp" in said
    assert "  - Send 51 good sheets by" in said


def test_cover_says_how_many_more_of_a_sheet_could_be_promised(fibre, sheet):
    make_lot(fibre, as_is_mg=500_000)
    said = plainly("cover", "--sheet", "text a4", "--by", day(-40).isoformat())
    # By hand: 437 g usable make 59 pulls of 7.3285 g, and 51 good sheets at 88 of 100.
    assert said.startswith("51 more good sheets of Text A4 could be promised by")
    assert "too little time" not in said
    make_commission(sheet, ref="C-101", good_quantity=40)
    # By hand: 40 good ones take 50 pulls to be safe, which leaves 9 and 7 good ones.
    assert plainly("cover", "--sheet", "Text A4").startswith("7 more good sheets of Text A4")


def test_cover_of_a_sheet_as_json_has_the_number(fibre, sheet):
    make_lot(fibre, as_is_mg=500_000)
    assert json.loads(run("cover", "--sheet", "Text A4", "--json"))["extra_good_sheets"] == 51


def test_cover_of_a_sheet_by_a_day_that_is_too_soon_says_so(fibre, sheet):
    make_lot(fibre)
    assert "too little time to prepare" in run("cover", "--sheet", "Text A4", "--by", str(day(-1)))


@pytest.mark.parametrize(
    ("args", "why"),
    [
        (["--sheet", "Text A9"], "No sheet is called 'Text A9'. Near it: Text A4."),
        (["--sheet", "Card"], "No sheet is called 'Card'. Sheets: Text A4."),
        (["--sheet", " "], "--sheet: give the name of a sheet"),
        ([" "], "Give the reference of a commission. Promised: "),
        (
            ["--sheet", "Text A4", "--by", "soon"],
            "--by: Give a day such as 2026-11-25, got “soon”.",
        ),
        (["--sheet", "Text A4", "--by", "2020-01-01"], "Give today or a day ahead."),
        (["--by", "2031-01-01"], "Name the sheet too."),
        (["C-101", "--sheet", "Text A4"], "not for both"),
        (["--sheet", "Text A4", "--snapshot", "plan.json"], "a file holds its own question"),
    ],
)
def test_cover_refuses_what_it_cannot_ask(sheet, args, why):
    assert why in refused("cover", *args)


def test_cover_of_a_sheet_that_cannot_be_reckoned_says_why(sheet):
    sheet.furnish.parts.all().delete()
    assert "has no fibre yet" in refused("cover", "--sheet", "Text A4")


# --- cover from a file ------------------------------------------------------------------------


def written(folder, text, name="plan.json"):
    file = folder / name
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(file)


def test_cover_answers_for_a_file_in_place_of_the_store(tmp_path):
    file = written(tmp_path, json.dumps(plan([lot(usable=999_000)], [promise(need=1_000_000)])))
    assert "C1 is short: 1.00 g oven-dry of linter" in run("cover", "--snapshot", file)


def test_cover_answers_the_question_of_a_file(tmp_path):
    question = {"due": "2027-03-10", "pull_mg": 100, "furnish": [part()]}
    file = written(tmp_path, json.dumps(plan([lot()], [promise(need=400)], question=question)))
    said = plainly("cover", "--snapshot", file)
    assert "6 more good sheets of the sheet in question could be promised by Wed 10 Mar" in said
    assert json.loads(run("cover", "--snapshot", file, "--json"))["extra_good_sheets"] == 6


def test_cover_finds_a_commission_of_a_file_however_it_is_typed(tmp_path):
    file = written(tmp_path, json.dumps(plan([], [promise()])))
    assert run("cover", " c1", "--snapshot", file) == run("cover", "C1", "--snapshot", file)


def test_cover_of_one_commission_of_a_file_lists_what_would_mend_it(tmp_path):
    file = written(tmp_path, json.dumps(plan([], [promise()])))
    assert "Buy 1.00 g oven-dry of linter" in plainly("cover", "C1", "--snapshot", file)


def test_cover_lists_every_fault_of_a_file_by_its_path(tmp_path):
    bad = plan([lot(usable=-1)], [promise(wanted=0, furnish=[])], today="soon")
    said = refused("cover", "--snapshot", written(tmp_path, json.dumps(bad)))
    assert "cannot be planned on, 4 faults:" in said
    for path in ("today: ", "lots[0].usable_mg: ", "commissions[0].wanted: "):
        assert f"\n{path}" in said


@pytest.mark.parametrize("text", ["", "{", "not json", "[" * 200_000])
def test_cover_refuses_a_file_that_is_not_json(tmp_path, text):
    said = refused("cover", "--snapshot", written(tmp_path, text))
    assert "1 fault:\n$: this is not JSON that can be read" in said


def test_cover_refuses_a_file_that_is_not_utf8(tmp_path):
    file = written(tmp_path, b'{"today": "\xff"}')
    assert "is not UTF-8 text: byte 12 cannot be read" in refused("cover", "--snapshot", file)


def test_cover_refuses_a_file_that_is_not_there(tmp_path):
    said = refused("cover", "--snapshot", str(tmp_path / "none.json"))
    assert said.endswith("none.json cannot be read: no such file or directory.")


def test_cover_refuses_a_folder_and_a_name_that_is_none(tmp_path):
    assert "is a directory" in refused("cover", "--snapshot", str(tmp_path))
    assert "cannot be read" in refused("cover", "--snapshot", "plan\0.json")


def test_cover_refuses_a_file_of_more_than_50_mb(tmp_path):
    file = tmp_path / "huge.json"
    with file.open("wb") as opened:
        opened.truncate(51 * 1024 * 1024)
    assert "has more than 50 MB" in refused("cover", "--snapshot", str(file))


def test_cover_refuses_an_endless_file():
    assert "more than 50 MB" in refused("cover", "--snapshot", "/dev/zero")


def test_cover_refuses_to_count_quotations_in_a_file(tmp_path):
    file = written(tmp_path, json.dumps(plan()))
    assert "Leave one of them out" in refused("cover", "--snapshot", file, "--with-quoted")


class Terminal(StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize("out", [Terminal, StringIO], ids=["terminal", "file"])
@pytest.mark.parametrize("from_file", [True, False], ids=["snapshot", "database"])
def test_cover_that_takes_long_says_so_on_a_terminal(tmp_path, monkeypatch, out, from_file):
    err = out()

    def slowly(shot):
        ends = time.monotonic() + (5 if err.isatty() else 0.1)
        while not err.getvalue() and time.monotonic() < ends:
            time.sleep(0.01)
        return allocate(shot)

    monkeypatch.setattr(cover, "allocate", slowly)
    monkeypatch.setattr(commands, "PATIENCE_S", 0.02)
    file = written(tmp_path, json.dumps(plan([lot()], [promise()])))
    call_command("cover", snapshot=file if from_file else None, stdout=StringIO(), stderr=err)
    told = r"(\rWorking it out, \d s)+\r\033\[K" if out is Terminal else ""
    assert re.fullmatch(told, err.getvalue())


# --- snapshot ---------------------------------------------------------------------------------


def test_snapshot_is_read_back_by_cover_with_the_same_answer(fibre, sheet, tmp_path):
    make_lot(fibre, as_is_mg=500_000)
    make_commission(sheet, ref="C-101")
    file = written(tmp_path, run("snapshot"))
    from_file = json.loads(run("cover", "--snapshot", file, "--json"))
    assert from_file == json.loads(run("cover", "--json"))


def test_snapshot_names_no_client(sheet):
    named = make_commission(sheet)
    assert named.client.name not in run("snapshot")


def test_snapshot_says_what_it_leaves_out(sheet):
    sheet.furnish.parts.all().delete()
    make_commission(sheet, ref="C-101")
    err = StringIO()
    call_command("snapshot", stdout=StringIO(), stderr=err)
    assert "C-101 is left out" in err.getvalue()


# --- cost -------------------------------------------------------------------------------------


def test_cost_as_json_has_the_keys_of_the_design(fibre, sheet):
    make_lot(fibre, paid_minor=10_000)
    make_commission(sheet, ref="C-101")
    said = json.loads(run("cost", "C-101", "--json"))
    assert set(said) == {
        "ref", "currency", "quantity", "per_sheet", "price_per_sheet", "price_total",
    }  # fmt: skip
    assert set(said["per_sheet"]) == {
        "fibre", "additions", "labour", "energy_water", "waste", "overhead", "packing", "total",
    }  # fmt: skip
    assert (said["ref"], said["quantity"]) == ("C-101", 100)


def test_cost_at_several_numbers_gives_the_first_and_the_others(sheet):
    make_commission(sheet, ref="C-101")
    said = json.loads(run("cost", "C-101", "--quantity", "10", "250", "--json"))
    assert said["quantity"] == 10
    assert [found["quantity"] for found in said["others"]] == [250]
    again = json.loads(run("cost", "C-101", "--quantity", "10", "--quantity", "250", "--json"))
    assert again == said


def test_cost_in_words_shows_the_sum_and_what_it_rests_on(fibre, sheet):
    held = make_lot(fibre, paid_minor=10_000)
    make_commission(sheet, ref="C-101")
    said = run("cost", "C-101")
    assert "At 100 good sheets" in said
    assert "Cost of a good sheet" in said
    assert f"book cost of {held.ref}" in said


def test_cost_goes_by_what_came_first_whichever_lot_the_plan_sets_aside(fibre, sheet):
    # By hand: either lot is enough and the plan takes the cheaper; first in, first out, the cost
    # of what came first goes all the same: 900.00 for 9.2 kg.
    first = make_lot(fibre, paid_minor=90_000, received_on=day(9))
    cheaper = make_lot(fibre, paid_minor=900, received_on=day(2))
    make_commission(sheet, ref="C-101")
    said = run("cost", "C-101")
    assert f"book cost of {first.ref}, first in first out, whichever lot is weighed out" in said
    assert f"of {cheaper.ref}" in run("cover", "C-101")


def test_cost_says_where_no_price_is_known(sheet):
    make_commission(sheet, ref="C-101")
    assert "No price is known for Abaca sheet pulp" in run("cost", "C-101")


def test_cost_of_what_is_over_still_answers(sheet):
    make_commission(sheet, ref="C-101", state=Commission.State.CLOSED, due=day(30))
    assert "Price of a good sheet" in run("cost", "C-101")


@pytest.mark.parametrize("text", ["0", "-5", "ten", "1.5", "1e400", "NaN", "", "9" * 10_000])
def test_cost_refuses_a_number_that_is_no_count_of_sheets(sheet, text):
    make_commission(sheet, ref="C-101")
    said = refused("cost", "C-101", f"--quantity={text}")
    assert len(said) < 300
    assert "\n" not in said


def test_cost_finds_a_commission_however_it_is_typed(sheet):
    make_commission(sheet, ref="C-101")
    assert run("cost", " c-101", "--json") == run("cost", "C-101", "--json")


def test_cost_of_an_unknown_commission_names_those_there_are(sheet):
    make_commission(sheet, ref="C-101")
    assert refused("cost", "C-9") == "No commission is called 'C-9'. There are: C-101."


def test_cost_where_nothing_is_entered_says_so():
    assert refused("cost", "C-9").endswith("There are: none yet.")
