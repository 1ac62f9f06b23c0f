"""Cover is worked out once for what has not changed, and anew for whatever has."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from orders import allocated as kept
from orders import services
from orders.calc.cover import allocate
from orders.calc.plan import from_json
from orders.calc.planrows import Snapshot
from tests.bench.generate import buying
from tests.builders import KG, day, make_commission, make_lot, make_sheet


def snapshot(**changed: Any) -> Snapshot:
    share = {"fibres": ["abaca"], "least": "1", "target": "1", "most": "1"}
    return from_json(
        {
            "halfstuff_snapshot": 1,
            "today": changed.get("today", "2027-03-01"),
            "currency": "GBP",
            "lots": [
                {
                    "ref": "A1",
                    "fibre": "abaca",
                    "usable_mg": changed.get("usable_mg", 900),
                    "from": "2027-02-01",
                }
            ],
            "commissions": [
                {
                    "ref": "C1",
                    "due": "2027-03-06",
                    "wanted": changed.get("wanted", 10),
                    "need_mg": 1000,
                    "pull_mg": 100,
                    "furnish": [share],
                }
            ],
        }
    )


@pytest.fixture
def reckoned(monkeypatch: pytest.MonkeyPatch) -> list[Snapshot]:
    """Start with nothing kept, and write down what is worked out."""
    asked: list[Snapshot] = []

    def reckon(shot: Snapshot) -> Any:
        asked.append(shot)
        return allocate(shot)

    kept._kept.clear()
    monkeypatch.setattr(kept, "allocate", reckon)
    yield asked
    kept._kept.clear()


def test_the_same_question_is_worked_out_once(reckoned: list[Snapshot]):
    first = kept.allocated(snapshot())

    assert kept.allocated(snapshot()) == first == allocate(snapshot())
    assert len(reckoned) == 1


@pytest.mark.parametrize(
    "changed", [{"usable_mg": 901}, {"today": "2027-03-02"}, {"wanted": 11}], ids=str
)
def test_whatever_changed_is_worked_out_anew(reckoned: list[Snapshot], changed: dict):
    kept.allocated(snapshot())

    assert kept.allocated(snapshot(**changed)) == allocate(snapshot(**changed))
    assert len(reckoned) == 2


def test_what_can_be_bought_has_no_say_in_it(reckoned: list[Snapshot]):
    priced = replace(snapshot(), sourcing=buying(2, 8, 2).sourcing)
    kept.allocated(snapshot())

    assert priced.sourcing is not None
    assert kept.allocated(priced) == allocate(priced)
    assert len(reckoned) == 1


def test_only_the_last_few_are_kept(reckoned: list[Snapshot]):
    for usable in range(900, 900 + kept.MOST_KEPT + 1):
        kept.allocated(snapshot(usable_mg=usable))
    kept.allocated(snapshot(usable_mg=900))

    assert len(reckoned) == kept.MOST_KEPT + 2
    assert len(kept._kept) == kept.MOST_KEPT


@pytest.mark.django_db
def test_a_promise_asks_for_itself_what_today_asks_for_all(reckoned: list[Snapshot]):
    sheet = make_sheet()
    make_lot(sheet.furnish.parts.get().fibre, as_is_mg=KG)
    promised = [make_commission(sheet, good_quantity=number) for number in (10, 20, 30)]
    all_of_them = services.cover(day())
    for one in promised:
        assert services.standing_of(one, day(), with_offers=True).cover == all_of_them

    assert len(reckoned) == 1
