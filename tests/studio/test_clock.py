"""A clock that was set back is said to be so on the first page and when the program is checked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from studio import checks, clock
from studio.entries import enter
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 10, 12, tzinfo=UTC)
SAID = (
    "The clock of this machine says 11:54 on 10 Mar 2026, and something was entered at 12:00 on "
    "10 Mar 2026 already. Set the clock right before you enter more. The book keeps the order in "
    "which things were entered, whatever the clock said."
)


def entered(at: datetime) -> None:
    with time_machine.travel(at, tick=False):
        enter("opened", "Opened", page="/", key=None, by=None)


@pytest.mark.parametrize("ahead", [timedelta(0), timedelta(minutes=5), -timedelta(days=365)])
def test_a_clock_that_can_be_right_is_not_spoken_of(ahead: timedelta) -> None:
    with time_machine.travel(NOON, tick=False):
        assert clock.behind() == ""
        entered(NOON + ahead)
        assert clock.behind() == ""
        assert checks.clock_is_not_behind(["default"]) == []


def test_one_that_stands_six_minutes_behind_the_last_entry_is() -> None:
    entered(NOON)
    with time_machine.travel(NOON - timedelta(minutes=6), tick=False):
        assert clock.behind() == SAID
        (found,) = checks.clock_is_not_behind(["default"])
        assert (found.id, found.msg) == ("studio.W003", SAID)
        assert checks.clock_is_not_behind([]) == []
        # Whoever enters something all the same is still told.
        entered(NOON - timedelta(minutes=6))
        assert clock.behind() == SAID


def test_the_first_page_says_so(owner_client: Any) -> None:
    entered(NOON)
    with time_machine.travel(NOON - timedelta(minutes=6), tick=False):
        page = Page(owner_client.get("/").content.decode())
        (note,) = [one for one in page.all("div", class_="note") if SAID in one.text]
        # Beside the margin rule like all else, not across it.
        assert "section" in note.inside
        assert "The clock" in [head.text for head in page.all("h2")]
    with time_machine.travel(NOON, tick=False):
        assert "Set the clock right" not in owner_client.get("/").content.decode()
