"""Read "How this is worked out" off a page: figure by figure its formula, source and lines."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html import unescape

from django.test import Client

SECTION = re.compile(r'<section class="entry screen explained".*?</section>', re.DOTALL)


@dataclass
class Worked:
    formula: str
    source: str
    lines: dict[str, str] = field(default_factory=dict)


def section_of(html: str) -> str:
    """Return the section of a page that says how its figures are worked out; "" without one."""
    found = SECTION.search(html)
    return found[0] if found else ""


def worked(browser: Client, address: str) -> dict[str, Worked]:
    """Return what a page says of its figures, by title."""
    response = browser.get(address)
    assert response.status_code == 200, response.status_code
    parts = section_of(response.content.decode()).split("<details")[1:]
    return {_plain(_one(part, "summary")): _worked(part) for part in parts}


def _worked(part: str) -> Worked:
    formula, source = (
        _plain(re.findall(rf'<p class="{kind}">(.*?)</p>', part, re.DOTALL)[0])
        for kind in ("formula", "quiet source")
    )
    rows = re.findall(r'<th scope="row">(.*?)</th><td>(.*?)</td>', part, re.DOTALL)
    lines = {_plain(head.partition("<small>")[0]): _plain(value) for head, value in rows}
    return Worked(formula, source.removeprefix("Source: "), lines)


def _one(part: str, tag: str) -> str:
    return re.findall(rf"<{tag}>(.*?)</{tag}>", part, re.DOTALL)[0]


def _plain(markup: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", "", markup)).split())
