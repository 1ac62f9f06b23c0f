"""No road leads to a changed or a missing row of the ledger or the entry book."""

import pytest

from tests.builders import KG
from tests.faults.place import Place

pytestmark = pytest.mark.faults

ROUTES = {
    "save", "delete", "update", "bulk update", "upsert", "raw delete", "replace", "raw SQL update",
    "raw SQL delete", "base manager update", "base manager delete", "forced save",
}  # fmt: skip


@pytest.fixture
def told(place: Place) -> dict:
    place.run("prepare", as_is_mg=10 * KG, moisture="0.08")
    return place.run("tamper")


def test_every_attack_is_refused_when_fresh_and_after_a_migration(place: Place, told: dict):
    routes = ROUTES | ({"truncate"} if place.url else set())

    assert told["models"] == [
        "AcceptedFigure", "Entry", "Movement", "QuoteDocument", "Seal", "SheetMovement",
    ]  # fmt: skip
    for model in told["models"]:
        for when in ("fresh", "after a migration"):
            tried = told["tried"][f"{model} {when}"]
            assert set(tried) == routes
            went_through = {route for route, became in tried.items() if became != "refused"}
            assert went_through == set(), f"{model} {when}"


def test_rows_are_as_they_were_after_every_attack(told: dict):
    assert told["rows before"] == told["rows after"]


def test_lost_triggers_are_reported_until_they_are_put_back(place: Place, told: dict):
    tables = (
        "studio_entry", "fibres_movement", "fibres_seal", "orders_sheetmovement",
        "orders_acceptedfigure", "orders_quotedocument",
    )  # fmt: skip
    missing = {
        f"studio.E003 Rows of {table} could be changed: its triggers are gone." for table in tables
    }
    assert told["check fresh"] == []
    # Only SQLite drops the triggers of a table that a migration rebuilds.
    assert set(told["check after rebuilding"]) == (set() if place.url else missing)
    assert set(told["check after removing"]) == missing
    assert told["check after migrating"] == []
