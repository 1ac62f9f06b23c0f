"""What the browser says of the page on its screen, once that page has come whole."""

from __future__ import annotations

from typing import Any

# A loaded machine is slow, not wrong.
PATIENCE_MS = 20_000
# Longer than a live panel waits after the last key (`delay` in components/desk.html).
AFTER_THE_LAST_KEY = "new Promise(done => setTimeout(done, 600))"
OVERHANG = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def reads(page: Any, words: str, *, within: str = "main") -> None:
    """Wait until a part of the page says some words, by eye; fail where it never does.

    Blanks count as one, whether they may break a line or not. What a click brings is read by
    this: the click returns while the page before it may still be there.
    """
    from playwright.sync_api import expect

    part = page.locator(within).first
    expect(part).to_contain_text(words, use_inner_text=True, timeout=PATIENCE_MS)


def press(page: Any, name: str) -> None:
    """Press a button once the live panel has said all it will.

    The tests keep their database in memory, on one connection for all threads: an act and a
    panel at once would trip over each other, which two visitors of a studio never do.
    """
    settle(page)
    page.get_by_role("button", name=name).click()


def settle(page: Any) -> None:
    """Wait until the live panel has said all it will of what was typed; without script at once."""
    if page.evaluate("'htmx' in window"):
        page.evaluate(AFTER_THE_LAST_KEY)
        page.locator(".htmx-request").first.wait_for(state="detached")


def overhang(page: Any) -> int:
    """Return how many pixels of the page lie beside the screen; 0 where it fits.

    A click returns when the next page has begun; until that page has its root there is nothing
    to measure.
    """
    page.wait_for_load_state("load")
    page.locator("main").wait_for()
    return int(page.evaluate(OVERHANG))
