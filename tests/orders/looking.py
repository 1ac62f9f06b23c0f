"""Look at a page as a person signed in: its words, its rows, and what it asks of the database."""

from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.studio.pages import Page, words


def look(client, address, /, *, status=200, **data):
    answer = client.get(address, data)
    assert answer.status_code == status, answer.status_code
    return Page(answer.content.decode())


def said(page):
    return words(page.one("main").text.replace("\u00a0", " "))


def heads(page, caption):
    """Return the row headers of the table whose caption begins with these words."""
    found = [table for table in page.all("table") if table.text.strip().startswith(caption)]
    assert len(found) == 1, f"{len(found)} tables “{caption}”"
    start = page.elements.index(found[0])
    rest = page.elements[start:]
    end = next((n for n, one in enumerate(rest[1:], 1) if one.tag == "table"), len(rest))
    return [
        words(one.text)
        for one in rest[:end]
        if one.tag == "th" and one.attrs.get("scope") == "row"
    ]


def queries(client, address):
    with CaptureQueriesContext(connection) as counted:
        assert client.get(address).status_code == 200
    return len(counted)


def same_queries_for_1_and_20(client, address, add):
    """Assert that a page asks the database as often for 20 rows as for 1."""
    add()
    few = queries(client, address)
    for _ in range(19):
        add()
    many = queries(client, address)
    assert many == few, f"{few} for 1 row, {many} for 20"


def form_data(page, /, **changes):
    """Return what the one post form of a page with fields would send, with changes."""
    data = {}
    for field in page.all("input"):
        kind = field.attrs.get("type", "text")
        if kind in {"checkbox", "radio"} and "checked" not in field.attrs:
            continue
        if field.attrs.get("name") and kind != "submit":
            data[field.attrs["name"]] = field.attrs.get("value", "")
    for area in page.all("textarea"):
        data[area.attrs["name"]] = area.text.strip()
    selected = None
    for element in page.elements:
        if element.tag == "select":
            selected = element.attrs["name"]
            data.setdefault(selected, "")
        if element.tag == "option" and "selected" in element.attrs:
            data[selected] = element.attrs.get("value", "")
    return {**data, **{name: str(value) for name, value in changes.items()}}
