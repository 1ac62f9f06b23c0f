"""Every page enlarged, without movement and in forced colours: nothing is lost.

WCAG 2.2: 1.4.4 text at 200 %, 1.4.10 reflow at 320 CSS pixels, 2.3.3 animation from interactions
(AAA, held all the same). A window of 1280 pixels enlarged to 200 % is one of 640, and to 400 % one
of 320, which is how the success criterion itself puts it.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.browser.everypage import make_demo, pages
from tests.browser.screen import overhang

pytestmark = pytest.mark.django_db(transaction=True)

# Boxes that hide what does not fit; what is kept from the eye alone is hidden on purpose.
CUT = """() => [...document.querySelectorAll('main *, header *')]
  .filter(it => !it.closest('.unseen, svg, input, select') && it.checkVisibility()
    && ['hidden', 'clip'].includes(getComputedStyle(it).overflowX)
    && it.clientWidth > 1 && it.scrollWidth > it.clientWidth + 1)
  .map(it => it.tagName + '.' + it.className)"""
MOVES = """() => [...document.querySelectorAll('*')]
  .filter(it => { const how = getComputedStyle(it);
    return how.transitionDuration.split(', ').some(span => parseFloat(span) > 0)
      || (how.animationName !== 'none' && parseFloat(how.animationDuration) > 0)
      || how.scrollBehavior === 'smooth'; })
  .map(it => it.tagName)"""
TWICE = "() => { document.documentElement.style.fontSize = '200%'; }"
# What is pressed or filled in, and shows neither an edge nor a line under its words.
FLAT = """() => [...document.querySelectorAll('main :is(button, input, select, textarea)')]
  .filter(it => it.checkVisibility() && !['hidden', 'radio', 'checkbox'].includes(it.type))
  .filter(it => { const how = getComputedStyle(it), box = getComputedStyle(it.parentElement);
    return how.borderTopStyle === 'none' && how.borderBottomStyle === 'none'
      && box.borderTopStyle === 'none' && !how.textDecorationLine.includes('underline'); })
  .map(it => it.outerHTML.slice(0, 120))"""
# Shapes of a chart that have taken the colour of the paper and no edge of another colour.
LOST = """() => { const paper = getComputedStyle(document.body).backgroundColor;
  const blank = colour => ['none', paper, 'rgba(0, 0, 0, 0)'].includes(colour);
  return [...document.querySelectorAll('main svg :is(rect, path, line, circle)')]
    .filter(it => !it.closest('defs, .qr'))
    .filter(it => { const how = getComputedStyle(it);
      return blank(how.fill) && blank(how.stroke); })
    .map(it => it.outerHTML.slice(0, 120)); }"""


def test_nothing_is_lost_at_two_and_four_times_the_size(visit: Any, transactional_db: None):
    page = visit("/", user=make_demo())
    found = []
    for address, fault in pages(page, visit.url):
        found += [fault] if fault else []
        for width in (640, 320):
            page.set_viewport_size({"width": width, "height": 512})
            if over := overhang(page):
                found.append(f"{address} at {width}: {over} px wider than the window")
            found += [f"{address} at {width}: cut off {box}" for box in page.evaluate(CUT)]
        page.set_viewport_size({"width": 1280, "height": 1024})
        page.evaluate(TWICE)
        if over := overhang(page):
            found.append(f"{address} with text twice as large: {over} px too wide")
        found += [
            f"{address} with text twice as large: cut off {box}" for box in page.evaluate(CUT)
        ]
    assert found == []


def test_nothing_moves_for_who_asked_for_that(visit: Any, transactional_db: None):
    page = visit("/", user=make_demo())
    found = []
    for address, _ in pages(page, visit.url):
        found += [f"{address}: {tag}" for tag in page.evaluate(MOVES)]
    assert found == []
    page.emulate_media(reduced_motion="no-preference")
    assert page.evaluate(MOVES) != []


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_edges_and_charts_stand_in_forced_colours(visit: Any, transactional_db: None, theme: str):
    page = visit("/", theme=theme, user=make_demo())
    page.emulate_media(forced_colors="active", color_scheme=theme)
    found = []
    for address, _ in pages(page, visit.url):
        found += [f"{address}: no edge {what}" for what in page.evaluate(FLAT)]
        found += [f"{address}: unseen {what}" for what in page.evaluate(LOST)]
    assert found == []
