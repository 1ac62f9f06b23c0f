"""Fill in a page's form as a browser would: what stands in it, with what a person changes."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

from django.test import Client

from fibres.models import Lot, Movement, Source
from studio.models import Entry
from tests.studio.pages import Page

UNSENT = {"submit", "button", "search"}


def see(client: Client, address: str) -> Sheet:
    """Open a page that must be there."""
    response = client.get(address)
    assert response.status_code == 200, response.status_code
    return Sheet(response.content.decode())


class Sheet(Page):
    """A page that also gives its words, each element's apart from the next."""

    def __init__(self, html: str) -> None:
        main = html.partition("<main")[2].partition("</main>")[0]
        self.told = spaced(main)
        super().__init__(html)


def spaced(markup: str) -> str:
    """Return the words of some markup with one plain space between any two."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", f"<{markup}")).split())


def told(page: Sheet) -> str:
    """Return the words of the page between band and footer."""
    return page.told


def typed(page: Page) -> dict[str, str]:
    """Return what the form of a page would send."""
    sent: dict[str, str] = {}
    select = ""
    for element in page.elements:
        name, attrs = element.attrs.get("name", ""), element.attrs
        if element.tag == "select":
            select = name
        elif element.tag == "option" and "select" in element.inside:
            chosen = "selected" in attrs or select not in sent
            sent[select] = attrs["value"] if chosen else sent[select]
        elif element.tag == "textarea":
            sent[name] = element.text.strip()
        elif element.tag == "input" and name and attrs.get("type") not in UNSENT:
            is_choice = attrs["type"] in {"radio", "checkbox"}
            if not is_choice or "checked" in attrs:
                sent[name] = attrs.get("value", "on" if is_choice else "")
    return sent


def send(client: Client, address: str, **changes: Any) -> Any:
    """Open a form, change some of it and send it; None takes a field out."""
    data = {**typed(see(client, address)), **changes}
    kept = {name: value for name, value in data.items() if value is not None}
    return client.post(address, kept)


def faults(response: Any) -> str:
    """Return what the page asks to put right; it must have come back with its form."""
    assert response.status_code == 200, response.status_code
    html = response.content.decode()
    assert 'role="alert"' in html
    return spaced(html.partition('role="alert"')[2].partition("</ol>")[0])


def written() -> tuple[int, ...]:
    """Count everything that an act of the store writes."""
    counted = (Lot, Movement, Source, Entry)
    return tuple(model.objects.count() for model in counted)
