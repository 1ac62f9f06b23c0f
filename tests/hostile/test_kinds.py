"""What an answer says it is, it is; and what lies beside the program is handed out to nobody.

Requirements are those of ASVS 5.0.0: 3.2.1, 4.1.1, 5.3.1, 13.4.1 and 13.4.3.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.test import Client

from studio import tokens
from studio.exports import SHEET_TYPE
from studio.files import desk
from studio.roles import OWNER
from tests.builders import make_fibre, make_lot, signed_in
from tests.hostile.ground import Ground

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

PACKED = b"PK\x03\x04"
FILES = [f"?format={kind}" for kind in ("csv", "xlsx")]
# Written as text: RFC 2046, section 4.1.2, and RFC 7303 for what ends in +xml.
SAYS_ITS_SIGNS = ("text/", "image/svg+xml")


def body_of(answer: Any) -> bytes:
    return b"".join(answer) if answer.streaming else answer.content


def unlike_its_kind(answer: Any, what: str) -> list[str]:
    """Say in what an answer is not what its header says."""
    body = body_of(answer)
    if not body:
        return []
    kind, _, signs = answer.get("Content-Type", "").partition("; ")
    found = []
    if kind.startswith(SAYS_ITS_SIGNS) and signs.lower().replace('"', "") != "charset=utf-8":
        found.append(f"says {kind} and of its signs {signs!r}")
    begins = {
        "text/html": lambda: body.decode().lstrip().lower().startswith(("<!doctype html>", "<")),
        "application/json": lambda: json.loads(body) is not None,
        "text/csv": lambda: body.decode("utf-8-sig") and b"<html" not in body,
        "text/css": lambda: b"{" in body and body.decode() and b"<html" not in body,
        "text/javascript": lambda: body.decode() and b"<html" not in body,
        "image/svg+xml": lambda: body.decode().lstrip().startswith("<svg"),
        "application/zip": lambda: body.startswith(PACKED),
        SHEET_TYPE: lambda: body.startswith(PACKED),
    }.get(kind)
    if begins is None or not begins():
        found.append(f"is no {kind!r}")
    is_page = kind in {"text/html", "application/json"} or "/static/" in what
    if not is_page and not answer.get("Content-Disposition", "").startswith("attachment; "):
        found.append("would be shown in place of a page")
    return [f"{what} {one}" for one in found]


def test_every_answer_is_of_the_kind_that_it_says(ground: Ground) -> None:
    browser, faults, seen = ground.browser(OWNER), [], set()
    token = tokens.make(ground.people[OWNER], "wall display")
    for route, path in ground.addresses.items():
        asked = {"HTTP_AUTHORIZATION": f"Bearer {token}"} if route.startswith("api") else {}
        for question in ["", *(FILES if not asked else [])]:
            answer = browser.get(path + question, **asked)
            seen.add(answer.get("Content-Type", "").partition(";")[0])
            faults += unlike_its_kind(answer, path + question)
    answer = browser.post(ground.addresses["data_whole_out"])
    seen.add(answer["Content-Type"])
    faults += unlike_its_kind(answer, "the whole studio")
    assert faults == []
    assert {"text/html", "application/json", "text/csv", SHEET_TYPE, "application/zip"} <= seen


FORGED = ['"},{"x":"', "\\", "</script><script>zx()", "\u2028\u2029", "*/ zx() //", "é\"'"]


@pytest.mark.parametrize("name", FORGED, ids=ascii)
def test_words_in_json_stay_words(owner: Any, name: str) -> None:
    """ASVS 5.0.0, 1.2.3: an answer for programs has the same shape whatever a fibre is called."""
    token = tokens.make(owner, "wall display")
    make_lot(make_fibre(name=f"Abaca {name}"))
    answer = Client().get("/api/store/", headers={"Authorization": f"Bearer {token}"})
    told = json.loads(answer.content)
    assert f"Abaca {name}" in [fibre["fibre"] for fibre in told["fibres"]]
    assert "x" not in told


@pytest.mark.parametrize("path", [
    "/", "/log-in/", "/nowhere/", "/store/", "/log-out/", "/api/", "/api/nowhere/",
])  # fmt: skip
def test_refusals_are_of_the_kind_that_they_say(owner: Any, path: str) -> None:
    for browser in (Client(), signed_in(owner), Client(HTTP_HOST="evil.example")):
        assert unlike_its_kind(browser.get(path), path) == []


def own_files() -> list[str]:
    """Return the address of each file that the program hands out by itself."""
    apps = ("studio/", "django_htmx/htmx-2.min.js")
    return [
        f"/static/{name}"
        for finder in finders.get_finders()
        for name, _ in finder.list([])
        if name.startswith(apps)
    ]


def test_own_files_are_of_the_kind_that_they_say() -> None:
    paths = own_files()
    assert {path.rpartition(".")[2] for path in paths} == {"css", "js", "svg"}
    faults = [fault for path in paths for fault in unlike_its_kind(Client().get(path), path)]
    assert faults == []


# --- what is handed out to nobody ---------------------------------------------------------------

BESIDE = [
    ".git/HEAD", ".git/config", ".git/index", ".git/", ".gitignore", ".svn/entries", ".env",
    ".ci/run", "manage.py", "pyproject.toml", "README.md", "DEVELOPERS.md", "studio/settings.py",
    "studio/settings.pyc", "studio/__pycache__/settings.cpython-311.pyc", "fixtures/demo/",
    "var/halfstuff.sqlite3", "var/secret_key", "secret_key", "halfstuff.sqlite3", "demo.sqlite3",
    "tests/conftest.py", "studio/templates/base.html", "templates/base.html", f"{desk.FOLDER}/",
]  # fmt: skip
# Ways up from where files are handed out, plain and written as an address writes them.
WAYS = ["/", "/static/", "/static/../", "/static/%2e%2e/", "/static/..%2f", "/static//",
        "/static/studio/../../../", "/static/studio/%2e%2e/%2e%2e/", "/static/studio/..\\..\\",
        "/static/./", "/static/studio/../../../../", "/./"]  # fmt: skip
SECRETS = (b"[core]", b"ref: refs/", b"SQLite format", b"SECRET_KEY", b"import ", b"[project]",
           b"## ", b"#!/")  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_no_file_beside_the_program_is_handed_out(owner: Any, way: str) -> None:
    """Neither a history of the sources, nor sources, nor the data folder and what is in it."""
    for browser in (Client(), signed_in(owner)):
        for name in BESIDE:
            answer = browser.get(way + name)
            if answer.status_code == 302:
                # To whom nobody knows a page that there is, such as the list of the house.
                assert answer["Location"].startswith("/log-in/?next=")
                continue
            assert answer.status_code in {400, 404}, way + name
            assert not any(sign in body_of(answer) for sign in SECRETS), way + name


@pytest.mark.parametrize("path", ["/static/", "/static/studio/", "/static", "/static/studio"])
def test_no_folder_is_listed(owner: Any, path: str) -> None:
    answer = signed_in(owner).get(path)
    assert answer.status_code == 404
    assert b"halfstuff.css</a>" not in body_of(answer)


def test_a_file_that_was_handed_in_has_no_address(ground: Ground) -> None:
    """What people hand in lies in the data folder, which no address leads to."""
    folder = settings.DATA_DIR / desk.FOLDER
    kept = [path for path in folder.rglob("*") if path.name == "file"]
    assert kept
    browser = ground.browser(OWNER)
    page = ground.addresses["data_handed"]
    for name in ("file", "state.json", "claim"):
        for path in (f"{page}{name}", f"/{desk.FOLDER}/{kept[0].parent.name}/{name}"):
            assert browser.get(path).status_code == 404, path
    places = [
        Path(storage.location)
        for finder in finders.get_finders()
        for storage in getattr(finder, "storages", {}).values()
    ]
    assert len(places) > 1
    assert not any(settings.DATA_DIR.is_relative_to(place) for place in places)
