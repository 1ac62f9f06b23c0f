"""Every address with a reference: answered as it is written, in small letters, with blanks."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from tests.roles.samples import address, routes

pytestmark = pytest.mark.django_db
ROUTES = routes()
WITH_REF = [name for name, pattern in ROUTES.items() if "ref" in pattern.pattern.converters]


def test_there_are_such_addresses() -> None:
    assert {"lot", "making", "commission", "delivery", "purchase", "stocktake"} <= set(WITH_REF)


@pytest.mark.parametrize("route", WITH_REF)
def test_case_and_outer_blanks_do_not_matter(route: str, owner_client: Client) -> None:
    written = address(route, ROUTES[route])
    ref = next(part for part in written.split("/") if "-" in part and part.upper() == part)
    answers = [
        owner_client.get(written.replace(ref, typed)).status_code
        for typed in (ref, ref.lower(), f"%20{ref}%20")
    ]
    assert answers[0] != 404
    assert answers == answers[:1] * 3


def test_a_reference_that_is_no_row_is_not_found(owner_client: Client) -> None:
    assert owner_client.get(reverse("making", args=["M-999"])).status_code == 404
