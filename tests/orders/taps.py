"""The log of a making as a browser sees it: its key, its buttons and the numbers beside them."""

from __future__ import annotations

from django.urls import reverse

from orders.makings import log
from tests.studio.pages import Page


def page_of(client, making) -> Page:
    return Page(client.get(log.page_of(making)).content.decode())


def key_of(client, making) -> str:
    fields = page_of(client, making).all("input")
    return next(one.attrs["value"] for one in fields if one.attrs.get("name") == "page_key")


def tap(client, making, value: str, *, key: str = "", post: str = "1"):
    address = reverse("making_tap", args=[making.ref])
    sent = {"tap": value, "post": post, "page_key": key or key_of(client, making)}
    return client.post(address, sent, follow=True)


def number_at(answer, place: str) -> str:
    """Return the number that stands at a place of the log."""
    return Page(answer.content.decode()).one("b", id=place).text
