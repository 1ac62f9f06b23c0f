"""Every page in a real browser: nothing for axe to find, on the console, or cut off."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group

from studio.roles import HAND, VIEWER
from tests.browser.everypage import make_demo, pages, violations
from tests.browser.screen import overhang

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 360])
def test_axe_finds_nothing_and_nothing_is_cut_off(
    visit: Any, transactional_db: None, width: int, theme: str
) -> None:
    page = visit("/", width=width, theme=theme, user=make_demo())
    found = []
    for address, fault in pages(page, visit.url):
        found += [fault] if fault else [f"{address}: {one}" for one in violations(page)]
        if over := overhang(page):
            found.append(f"{address}: {over} px wider than the window")
    assert found == []


@pytest.mark.parametrize("role", [HAND, VIEWER])
def test_axe_finds_nothing_on_what_others_see(
    visit: Any, transactional_db: None, role: str
) -> None:
    make_demo()
    other = get_user_model().objects.create_user("other")
    other.groups.add(Group.objects.get(name=role))
    page = visit("/", width=360, user=other)
    found, seen = [], 0
    for address, fault in pages(page, visit.url):
        seen += not fault
        found += [f"{address}: {one}" for one in violations(page)]
    # The browser complains as well of pages that the role may not open or does not see.
    visit.complaints[:] = [
        said
        for said in visit.complaints
        if "(Forbidden)" not in said and "(Not Found)" not in said
    ]
    assert found == []
    assert seen > 30


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", ["/first-run/", "/log-in/", "/nowhere/"])
def test_axe_finds_nothing_before_the_door(
    visit: Any, transactional_db: None, path: str, theme: str
) -> None:
    if path != "/first-run/":
        get_user_model().objects.create_user("somebody")
    page = visit(path, width=360, theme=theme)
    visit.complaints[:] = [said for said in visit.complaints if "404" not in said]
    assert violations(page) == []
