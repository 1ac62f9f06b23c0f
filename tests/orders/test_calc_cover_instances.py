"""The named cases of cover: exact answers by integer flow and exhaustive search (EXACTCOVER)."""

import json
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.orders.plans import answer

TABLE = Path(__file__).resolve().parents[2] / "fixtures" / "published" / "plan_instances.json"
CASES = json.loads(TABLE.read_text(encoding="utf-8"))
cases = pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['key']}-{case['name']}")
KG = 1_000_000
FIRST = date(2027, 3, 1)


def day(number):
    return None if number is None else (FIRST + timedelta(days=number)).isoformat()


def share(percent):
    return f"{percent / 100:.2f}"


def furnish(lines):
    return [
        {
            "fibres": line["fibres"],
            "least": share(line["min"]),
            "target": share(line["target"]),
            "most": share(line["max"]),
        }
        for line in lines
    ]


def lot(row):
    return {
        "ref": row["id"],
        "fibre": row["fibre"],
        "usable_mg": row["dry_kg"] * KG,
        "from": day(row["from_day"]),
        "until": day(row["last_day"]),
        "cost_minor_per_kg": row["cents_per_kg"],
        "marks": row["marks"],
    }


def commission(row):
    return {
        "ref": row["id"],
        "priority": row["priority"],
        "due": day(row["due_day"]),
        "wanted": 100,
        "need_mg": row["dry_kg"] * KG,
        "pull_mg": row["dry_kg"] * KG // 100,
        "furnish": furnish(row["furnish"]),
        "excludes": row["excludes"],
    }


def solved(case):
    data, more = case["data"], {}
    if data["query"]:
        more["question"] = {
            "due": day(data["query"]["day"]),
            "pull_mg": data["query"]["dry_g_per_sheet"] * 1000,
            "furnish": furnish(data["query"]["furnish"]),
            "excludes": data["query"]["excludes"],
        }
    return answer(map(lot, data["lots"]), map(commission, data["commissions"]), **more)


@cases
def test_shortage_by_rank_and_cost_of_the_lots(case):
    cover, expected = solved(case), case["answer"]
    short = {found.ref: sum(lack.usable_mg for lack in found.short) for found in cover.commissions}
    assert short == {ref: mass * KG for ref, mass in expected["short_kg"].items()}
    assert cover.lot_cost_minor == expected["lot_cost_cents"]
    assert cover.extra_good_sheets == expected.get("extra_sheets")


@cases
def test_what_binds(case):
    found = [
        {"need_kg": bind.need_mg / KG, "supply_kg": bind.supply_mg / KG,
         "short_kg": bind.short_mg / KG}
        for bind in solved(case).binding
    ]  # fmt: skip
    assert found == case["answer"]["binding"]


@cases
def test_the_first_day_on_which_a_short_one_is_ready(case):
    cover = solved(case)
    expected = case["answer"].get("earliest_day", {})
    short = [found for found in cover.commissions if found.short]
    assert {found.ref for found in short} == set(expected)
    for found in short:
        on = found.ready_on and found.ready_on.isoformat()
        assert on == day(expected[found.ref])
        assert found.state == ("later" if on else "short")
