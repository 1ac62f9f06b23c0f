"""The forms of a page as a browser would send them: where, how, and what stands in each field."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

UNSENT = {"submit", "button", "reset", "image", "file"}


@dataclass
class Form:
    """One form: where it is sent, how, and each name with what stands in it."""

    action: str
    method: str
    fields: dict[str, list[str]] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)

    def add(self, name: str, value: str | None) -> None:
        values = self.fields.setdefault(name, [])
        if value is not None:
            values.append(value)

    def looks_like(self, other: Form) -> bool:
        """Tell whether another form asks for the same, whatever stands in it."""
        return set(self.fields) == set(other.fields) and self.files == other.files


class FormReader(HTMLParser):
    """Collects the forms of a page."""

    def __init__(self, html: str, page: str) -> None:
        super().__init__()
        self.page = page
        self.forms: list[Form] = []
        self.by_id: dict[str, Form] = {}
        self.open: Form | None = None
        self.select: tuple[Form, str] | None = None
        self.first_option: str | None = None
        self.area: tuple[Form, str] | None = None
        self.words = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        if tag == "form":
            action = told.get("action") or self.page
            self.open = Form(action, told.get("method", "get").lower())
            self.forms.append(self.open)
            if "id" in told:
                self.by_id[told["id"]] = self.open
            return
        form = self.by_id.get(told.get("form", ""), self.open)
        if form is None:
            return
        getattr(self, f"_{tag}", lambda form, told: None)(form, told)

    def _input(self, form: Form, told: dict[str, str]) -> None:
        kind, name = told.get("type", "text"), told.get("name", "")
        if not name:
            return
        if kind == "file":
            form.files.append(name)
            return
        ticked = kind not in {"checkbox", "radio"} or "checked" in told
        sent = told.get("value", "on") if kind in {"checkbox", "radio"} else told.get("value", "")
        form.add(name, sent if ticked and kind not in UNSENT else None)

    def _button(self, form: Form, told: dict[str, str]) -> None:
        if told.get("name"):
            form.add(told["name"], told.get("value", ""))

    def _select(self, form: Form, told: dict[str, str]) -> None:
        if told.get("name"):
            self.select, self.first_option = (form, told["name"]), None
            form.add(told["name"], None)

    def _option(self, form: Form, told: dict[str, str]) -> None:
        if self.select is None:
            return
        if self.first_option is None:
            self.first_option = told.get("value", "")
        if "selected" in told:
            self.select[0].add(self.select[1], told.get("value", ""))

    def _textarea(self, form: Form, told: dict[str, str]) -> None:
        if told.get("name"):
            self.area, self.words = (form, told["name"]), ""

    def handle_data(self, data: str) -> None:
        if self.area is not None:
            self.words += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None
        if tag == "textarea" and self.area is not None:
            self.area[0].add(self.area[1], self.words.removeprefix("\n"))
            self.area = None
        if tag == "select" and self.select is not None:
            form, name = self.select
            if not form.fields[name] and self.first_option is not None:
                form.add(name, self.first_option)
            self.select = None


def forms_of(html: str, page: str) -> list[Form]:
    """Return the forms of a page that was read at an address."""
    return FormReader(html, page).forms
