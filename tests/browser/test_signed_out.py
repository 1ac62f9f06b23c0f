"""Whoever signs out leaves nothing that the next person at this browser could go back to."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from studio.roles import OWNER
from tests.browser.conftest import CHROMIUM, FLAGS
from tests.builders import PASSWORD, make_fibre, make_lot, make_studio, make_user

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def browser(chromium: Any) -> Iterator[Any]:
    """Start a browser that keeps whole pages for going back to, as browsers of people do."""
    started = chromium.browser_type.launch(
        executable_path=CHROMIUM,
        args=[*FLAGS, "--enable-features=BackForwardCache"],
        ignore_default_args=["--disable-back-forward-cache"],
    )
    yield started
    started.close()


def back(page: Any, address: str) -> None:
    """Go back as the button does; a page that was kept whole is loaded by nobody."""
    page.evaluate("history.back()")
    page.wait_for_url(address, wait_until="commit")


def sign_in(browser: Any, site: str) -> Any:
    page = browser.new_page()
    page.goto(f"{site}/log-in/")
    page.get_by_label("User name").fill("vat")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{site}/")
    return page


def test_back_after_signing_out_shows_the_door_and_no_storage_holds_a_page(
    browser: Any, live_server: Any
) -> None:
    make_user(OWNER, name="vat", password=PASSWORD)
    lot = make_lot(fibre=make_fibre(name="Abaca"))
    page = sign_in(browser, live_server.url)
    page.goto(live_server.url + lot.get_absolute_url())
    assert "Abaca" in page.locator("main").inner_text()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url(f"{live_server.url}/log-in/")
    back(page, "**/log-in/?next=**")
    page.get_by_label("Password").wait_for()
    assert "Abaca" not in page.content()
    assert "Abaca" not in page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}])")


def test_back_while_signed_in_shows_the_page_with_what_was_typed(
    browser: Any, live_server: Any
) -> None:
    make_user(OWNER, name="vat", password=PASSWORD)
    make_studio()
    page = sign_in(browser, live_server.url)
    page.goto(f"{live_server.url}/clients/new/")
    page.get_by_label("Name").fill("Quay Print Room")
    page.goto(f"{live_server.url}/store/")
    back(page, "**/clients/new/")
    assert page.get_by_label("Name").input_value() == "Quay Print Room"
    # It was kept whole, and not only filled in again: the program of the page ran once.
    assert page.evaluate("performance.getEntriesByType('navigation')[0].type") == "navigate"
