"""From any page to what one looks for, with the keys alone, on a phone."""

from __future__ import annotations

from typing import Any

import pytest

from studio import people
from tests.browser.screen import overhang, reads
from tests.builders import make_client, make_fibre, make_lot, make_making, make_studio

pytestmark = pytest.mark.django_db(transaction=True)
FOCUSED = "document.activeElement.closest('a, input, button')?.outerHTML || ''"


@pytest.fixture
def owner(transactional_db: None) -> Any:
    make_studio(name="A studio with rather a long name by the river")
    fibre = make_fibre(name="Otterburn flax " + "x" * 60)
    make_lot(fibre)
    make_client(name="<b>Otterburn</b> Press")
    make_making(ref="M-071")
    return people.make_owner("ann", None)


def to_the_box(page: Any) -> None:
    """Tab from the top of the page to the search box: skip link, house, box."""
    page.keyboard.press("Tab")
    assert "#main" in page.evaluate(FOCUSED)
    for _ in range(2):
        page.keyboard.press("Tab")
    assert 'name="q"' in page.evaluate(FOCUSED)


@pytest.mark.parametrize("script", [False, True])
def test_words_and_references_are_found_with_the_keys_alone(
    visit: Any, owner: Any, script: bool
) -> None:
    page = visit("/bench/", width=360, user=owner, script=script)
    to_the_box(page)
    page.keyboard.type("otterburn")
    page.keyboard.press("Enter")
    page.wait_for_url("**/search/?q=otterburn")
    reads(page, "Found 1 lot, 1 client and 1 fibre.")
    reads(page, "<b>Otterburn</b> Press")
    assert page.locator("mark").count() == 3
    assert overhang(page) == 0
    page.get_by_role("link", name="Otterburn flax").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/lots/**")

    page.goto(visit.url + "/search/?q=otterburn")
    to_the_box(page)
    page.keyboard.press("Control+a")
    page.keyboard.type("m-071")
    page.keyboard.press("Tab")
    assert ">Find<" in page.evaluate(FOCUSED)
    page.keyboard.press("Enter")
    page.wait_for_url("**/makings/M-071/")


def test_the_box_does_not_widen_the_band(visit: Any, owner: Any) -> None:
    for width in (320, 360, 700, 1280):
        page = visit(f"/search/?q={'x' * 130}", width=width, user=owner)
        assert overhang(page) == 0, width
        box = page.locator(".find").bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
        assert page.locator(".find input").bounding_box()["width"] >= 150


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("query", ["?q=otterburn", "?q=M-0711", f"?q={'x' * 130}"])
def test_axe_finds_nothing_in_what_was_found(
    visit: Any, owner: Any, query: str, theme: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page = visit(f"/search/{query}", width=360, theme=theme, user=owner)
    found = Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:160]) for one in found] == []
    assert page.locator("main .entry").count() >= 1
