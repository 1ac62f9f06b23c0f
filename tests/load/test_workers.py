"""What one worker began, another goes on with: here two, each asked by name."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from tests.faults.place import Place, begin
from tests.fibres.pages import Sheet, typed
from tests.load.browser import Browser
from tests.load.layout import PASSWORD
from tests.load.site import lay_out
from tests.studio.pages import Page

pytestmark = pytest.mark.load

LIST = "name,kind\nQuarry School,donor\nMoss Yard,donor\n"
PATIENCE_SECONDS = 90
WRONG_TRIES = 5
TOO_MANY = 429


@pytest.fixture
def ports(place: Place) -> Iterator[list[int]]:
    """Serve one studio twice; its owner signs in as person00."""
    lay_out(place, 1)
    with ExitStack() as stack:
        servers = [stack.enter_context(place.worker("serve")) for _ in range(2)]
        found = []
        for server in servers:
            begin(server)
            assert server.stdout
            found.append(int(server.stdout.readline()))
        yield found


def test_a_list_handed_in_at_one_worker_is_told_of_and_entered_at_another(
    place: Place, ports: list[int]
):
    first, second = ports
    owner = Browser(first)
    owner.fill_in("Log in", "/log-in/", {"username": "person00", "password": PASSWORD})
    where = owner.fill_in("Hand in", "/studio/data/sources/", {}, file=LIST)

    owner.port = second
    until_told(owner, where, "Nothing is entered yet. It would be: 2 entered.")
    sent = typed(Page(owner.get("Enter: form", where)))
    owner.ask("Enter: send", "POST", where, sent, wanted=302)
    owner.port = first
    until_told(owner, where, "Sources: 2 entered.")

    assert owner.told.faults == []
    # The word to enter it, sent once more and to the other worker, enters it no second time.
    assert owner.ask("Enter: again", "POST", where, sent).status < 500
    assert place.value("SELECT COUNT(*) FROM fibres_source WHERE name = 'Quarry School'") == 1


def until_told(browser: Browser, where: str, said: str) -> None:
    until = time.monotonic() + PATIENCE_SECONDS
    html = ""
    while said not in html:
        assert time.monotonic() < until, told_in(html)
        time.sleep(0.1)
        html = browser.get("Progress", where)


def told_in(html: str) -> str:
    """Return the words of a page, to say what stood there instead."""
    return Sheet(html).told[:400]


def test_wrong_passwords_count_whichever_worker_is_tried(ports: list[int]):
    stranger = Browser(ports[0])
    for number in range(WRONG_TRIES):
        stranger.port = ports[number % 2]
        try_door(stranger, "a wrong one")
    assert [try_door(Browser(port), PASSWORD) for port in ports] == [TOO_MANY, TOO_MANY]


def try_door(browser: Browser, password: str) -> int:
    sent = {"username": "person00", "password": password}
    browser.get("Door", "/log-in/")
    sent["csrfmiddlewaretoken"] = browser.cookies["csrftoken"]
    return browser.ask("Log in", "POST", "/log-in/", sent).status
