"""Read HTML as a browser would: elements with their attributes and their words."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"input", "br", "meta", "link", "path", "img", "hr", "rect"}


@dataclass
class Element:
    tag: str
    attrs: dict[str, str]
    text: str = ""
    inside: list[str] = field(default_factory=list)


class Page(HTMLParser):
    def __init__(self, html: str) -> None:
        super().__init__()
        self.elements: list[Element] = []
        self.open: list[Element] = []
        self.misnested: list[str] = []
        self.feed(html)
        self.close()
        self.misnested += [element.tag for element in self.open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        element.inside = [outer.tag for outer in self.open]
        self.elements.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open[-1].tag != tag:
            self.misnested.append(tag)
            return
        self.open.pop()

    def handle_data(self, data: str) -> None:
        for element in self.open:
            element.text += data

    def all(self, tag: str, **attrs: str) -> list[Element]:
        wanted = {name.rstrip("_").replace("_", "-"): value for name, value in attrs.items()}
        return [
            element
            for element in self.elements
            if element.tag == tag
            and all(
                value in element.attrs.get(name, "").split()
                if name == "class"
                else element.attrs.get(name) == value
                for name, value in wanted.items()
            )
        ]

    def one(self, tag: str, **attrs: str) -> Element:
        found = self.all(tag, **attrs)
        assert len(found) == 1, f"{len(found)} of <{tag} {attrs}>"
        return found[0]

    def ids(self) -> list[str]:
        return [element.attrs["id"] for element in self.elements if "id" in element.attrs]


def words(text: str) -> str:
    """Return text with its runs of white space made one space; no-break spaces stay."""
    return " ".join(text.replace("\n", " ").split(" ")).strip()


def uncoded(html: str) -> str:
    """Return markup without the spans that keep its codes from breaking, to look for sentences."""
    return re.sub(r'<span class="code">([^<]*)</span>', r"\1", html)
