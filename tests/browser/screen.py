"""What the browser says of the page on its screen, once that page has come whole."""

from __future__ import annotations

from typing import Any

OVERHANG = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def overhang(page: Any) -> int:
    """Return how many pixels of the page lie beside the screen; 0 where it fits.

    A click returns when the next page has begun; until that page has its root there is nothing
    to measure.
    """
    page.wait_for_load_state("load")
    page.locator("main").wait_for()
    return int(page.evaluate(OVERHANG))
