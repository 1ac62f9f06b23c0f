"""The command ``reorder``: from the store, from a file, and what it cannot answer."""

import io
import json

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from orders import reordering
from orders.calc.bought import NO_OFFER, NOTHING_TO_DO, ORDER_BY, ORDER_NOW, TOO_LATE
from orders.management.commands import reorder as command
from orders.models import StoredPlan
from orders.wording import day as worded
from tests.builders import KG, day, make_studio
from tests.orders.plans import lot, plan, promise
from tests.orders.reorders import Planner, ahead, at_rest, flag, order, reorder

LOOSE = 0.05


def run(*args, **options):
    out = io.StringIO()
    call_command("reorder", *args, stdout=out, **options)
    return out.getvalue().replace("\u00a0", " ")


def refused(*args):
    with pytest.raises(CommandError) as refusal:
        run(*args)
    return str(refusal.value)


@pytest.fixture
def planner(monkeypatch, db):
    planner = Planner(reorder(order()))
    monkeypatch.setattr(reordering, "buying", planner)
    monkeypatch.setattr(command, "buying", planner)
    return planner


def written(folder, made, name="plan.json"):
    file = folder / name
    file.write_text(made if isinstance(made, str) else json.dumps(made))
    return str(file)


SOURCING = {
    "horizon_days": 91,
    "minimum_mg": {},
    "sources": [
        {"ref": "Greyling", "lead_days": 2, "freight_minor": 500, "order_minimum_minor": 0}
    ],
    "offers": [
        {
            "ref": "O-1",
            "source": "Greyling",
            "fibre": "linter",
            "pack_usable_mg": 2 * KG,
            "breaks": [[1, 900]],
        }
    ],
}


def short_plan(**changes):
    """Return a promise of 3 kg in 30 days, with 1 kg in store: a pack of 2 kg is to be bought."""
    promised = promise(need=3 * KG, due="2027-03-31")
    return plan([lot(usable=KG)], [promised], sourcing=SOURCING, **changes)


# --- what it says


def test_it_says_what_to_buy_by_when_and_what_that_costs(planner):
    said = run()
    assert said.startswith(
        f"One order, £38.30 with freight. It has to leave by {worded(ahead(10), day())}."
    )
    assert f"Abaca: Order by {worded(ahead(10), day())}." in said
    assert "T-1 lacks 1.000 kg usable of it." in said
    assert "Oastler Pulp Supply: order by" in said
    assert "2 packs of Abaca, 1.82 kg oven-dry" in said
    lines = [line.split()[-1] for line in said.splitlines() if "£" in line and "  " in line]
    assert lines[-3:] == ["£30.80", "£7.50", "£38.30"]
    assert "Kozo needs nothing for the next 13 weeks" in said


def test_json_is_one_object_with_the_keys_of_the_design(planner):
    said = json.loads(run("--json"))
    assert {"flags", "purchases", "total"} <= set(said)
    assert {"fibre", "short_on", "order_by", "short_oven_dry_g"} <= set(said["flags"][0])
    assert set(said["purchases"][0]) == {
        "source", "order_on", "arrives_on", "lines", "goods", "freight", "total",
    }  # fmt: skip
    assert {"fibre", "packs", "oven_dry_g", "cost"} <= set(said["purchases"][0]["lines"][0])
    assert said["total"] == 3830


def test_a_plan_that_was_kept_is_shown_with_its_gap_and_its_day(planner):
    planner.answers = [reorder(order(), gap=LOOSE), reorder()]
    assert run() == run()
    assert len(planner.asked) == 1
    said = run()
    assert "At most 5.3 % above the cheapest possible." in said
    assert f"Found on {worded(day(), day())}." in said


def test_a_time_limit_looks_again_where_a_plan_is_kept(planner):
    planner.answers = [reorder(order(), gap=LOOSE), reorder(order(freight_minor=0))]
    run()
    assert "£30.80 with freight" in run("--time-limit", "2.5")
    assert planner.asked == [command.USUAL_SECONDS, 2.5]
    assert StoredPlan.objects.count() == 1


def test_weeks_are_looked_ahead(planner, monkeypatch):
    seen = []
    read = reordering.read
    monkeypatch.setattr(
        reordering, "read", lambda today, weeks: seen.append(weeks) or read(today, weeks)
    )
    run("--weeks", "30")
    run()
    assert seen == [30, 13]


def test_pounds_are_said_where_the_studio_measures_in_them(planner):
    make_studio(units="US")
    assert "4 lb 0.2 oz oven-dry" in run()


# --- strict


@pytest.mark.parametrize("state", [ORDER_NOW, TOO_LATE])
def test_strict_exits_2_where_an_order_leaves_today_or_comes_too_late(planner, state):
    planner.answers = [reorder(flags=[at_rest(), flag(state=state, order_by=None)])]
    with pytest.raises(SystemExit, match="2"):
        run("--strict")


@pytest.mark.parametrize("state", [ORDER_BY, NO_OFFER, NOTHING_TO_DO])
def test_strict_is_content_with_what_can_still_wait(planner, state):
    planner.answers = [reorder(flags=[flag(state=state)])]
    assert run("--strict")


# --- from a file


def test_it_answers_for_a_file_without_a_database(tmp_path):
    said = run("--snapshot", written(tmp_path, short_plan()))
    # By hand: one pack of 9.00 and 5.00 freight; needed on 31 March, two days on the way.
    assert said.startswith("One order, £14.00 with freight. It has to leave by Mon 29 Mar.")


def test_a_file_can_be_asked_as_far_ahead_as_wanted(tmp_path):
    file = written(tmp_path, short_plan())
    assert run("--snapshot", file, "--weeks", "2").startswith("Nothing has to be ordered")


def test_json_from_a_file_gives_the_purchase(tmp_path):
    said = json.loads(run("--json", "--snapshot", written(tmp_path, short_plan())))
    assert said["total"] == 1400
    assert said["purchases"][0]["order_on"] == "2027-03-29"
    assert said["purchases"][0]["arrives_on"] == "2027-03-31"


def test_a_file_says_in_which_currency(tmp_path):
    said = run("--snapshot", written(tmp_path, short_plan(currency="EUR")))
    assert "€14.00 with freight" in said


# --- what it cannot answer


def test_a_file_without_sourcing_is_told_what_it_lacks(tmp_path):
    said = refused("--snapshot", written(tmp_path, plan([lot()], [promise()])))
    assert "it has no “sourcing”" in said


def test_every_fault_of_a_file_is_listed_by_its_path(tmp_path):
    bad = short_plan()
    bad["lots"][0]["usable_mg"] = -1
    bad["sourcing"] = {**SOURCING, "horizon_days": 0}
    said = refused("--snapshot", written(tmp_path, bad))
    assert "cannot be planned on, 2 faults:" in said
    assert "\nlots[0].usable_mg: " in said
    assert "\nsourcing.horizon_days: " in said


def test_a_file_that_is_not_there_is_one_line(tmp_path):
    said = refused("--snapshot", str(tmp_path / "gone.json"))
    assert "cannot be read: no such file" in said
    assert "\n" not in said


@pytest.mark.parametrize("given", ["0", "105", "-3", "soon", "1.5", "9" * 40])
def test_weeks_that_cannot_be_are_refused(given):
    said = refused(f"--weeks={given}")
    assert "Give a whole number of weeks from 1 to 104, got" in said
    assert len(said) < 200


@pytest.mark.parametrize("given", ["0", "-1", "nan", "inf", "long", "3601"])
def test_a_time_limit_that_cannot_be_is_refused(given):
    assert "Give seconds above 0 and up to 3600, got" in refused(f"--time-limit={given}")


# --- progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_progress_is_told_on_a_terminal_from_a_second_on_and_taken_away(planner):
    planner.steps = [(0.9, 4000, 3800.0), (2.0, 4000, 3800.0)]
    err = Terminal()
    run(stderr=err)
    said = err.getvalue()
    assert "Looking for a cheaper plan, 2 s, at most 5.0% to gain" in said
    assert "1 s" not in said
    assert said.endswith("\r\033[K")


def test_no_progress_where_nobody_looks(planner):
    planner.steps = [(2.0, 4000, 3800.0)]
    err = io.StringIO()
    run(stderr=err)
    assert err.getvalue() == ""
