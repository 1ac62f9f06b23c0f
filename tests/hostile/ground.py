"""A studio with something behind every address, who walks it, and what it holds."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from unittest.mock import patch
from urllib.parse import urlsplit

from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, transaction
from django.test import Client
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from orders import demo
from orders.makings import log
from orders.models import TrialSheet
from studio import background, people
from studio.roles import HAND, OWNER, VIEWER
from tests.builders import KG, PASSWORD, make_finished, make_offer, make_user, signed_in
from tests.exchange import text_of
from tests.hostile.formreader import Form, forms_of
from tests.orders.vatdays import count, making_and_lot
from tests.roles.samples import address, routes

ANONYMOUS, NO_ROLE = "anonymous", "no role"
ACTORS = (ANONYMOUS, NO_ROLE, VIEWER, HAND, OWNER)
ROUTES = routes()
# What the door itself writes about tries and visits.
BOOKS_OF_THE_DOOR = ("axes_", "django_session")


@dataclass
class Ground:
    """Addresses by route, accounts by actor, and the forms that pages show."""

    addresses: dict[str, str]
    people: dict[str, Any]
    # Further pages of a route, such as one that needs a question in its address.
    also: list[str] = field(default_factory=list)
    forms: dict[str, list[Form]] = field(default_factory=dict)
    names: dict[str, set[str]] = field(default_factory=dict)

    def browser(self, actor: str) -> Client:
        """Return a new browser in which an actor is signed in."""
        return signed_in(self.people[actor]) if actor in self.people else Client()

    def kwargs_of(self, route: str) -> dict[str, Any]:
        """Return what stands in the address of a route."""
        return dict(resolve(self.addresses[route]).kwargs)

    def read_forms(self) -> None:
        """Read every page once as the owner, and keep each form under where it leads."""
        browser = self.browser(OWNER)
        pages = [*self.addresses.items(), *((route_of(path), path) for path in self.also)]
        for route, path in pages:
            response = browser.get(path)
            if response.get("Content-Type", "").startswith("text/html"):
                self._note(route, forms_of(response.content.decode(), path))
        self._note("log_in", forms_of(Client().get("/log-in/").content.decode(), "/log-in/"))

    def _note(self, route: str, forms: list[Form]) -> None:
        for form in forms:
            if form.method == "get":
                self.names.setdefault(route, set()).update(form.fields)
                continue
            known = self.forms.setdefault(route_of(form.action), [])
            if not any(form.looks_like(one) for one in known):
                known.append(form)


def build() -> Ground:
    """Open the demo's studio and put a row of its own behind each route."""
    owner = people.make_owner("owner walks", PASSWORD)
    demo.make(timezone.localdate(), owner)
    accounts = {role: make_user(role, name=f"{role} walks", password=PASSWORD)
                for role in (HAND, VIEWER)}  # fmt: skip
    accounts |= {OWNER: owner, NO_ROLE: make_user("", name="nobody walks", password=PASSWORD)}
    addresses = {name: address(name, pattern) for name, pattern in ROUTES.items()}
    ground = Ground(addresses, accounts)
    _at_the_vat(ground, owner)
    _in_stock_and_on_offer(ground)
    _handed_in(ground, owner)
    return ground


def _at_the_vat(ground: Ground, owner: Any) -> None:
    """Let the addresses of a log lead to a making that is being made."""
    making, lot = making_and_lot(owner)
    log.issue(making, lot, as_is_mg=2 * KG, by=owner)
    count(making, owner, good=10, retree=2)
    sheet = TrialSheet(number=1, mass_mg=8_000, moisture=Decimal("0.06"))
    log.weigh_trial(making, sheet, by=owner)
    rows = {"making_issue_back": making.issues.get(), "making_trial_back": sheet}
    for route in ("making_log", "making_tap", "making_issue", "making_spend", "making_dose",
                  "making_trial", "making_heel", "making_broke", "making_finish",
                  *rows):  # fmt: skip
        kept = {"pk": rows[route].pk} if route in rows else {}
        ground.addresses[route] = reverse(route, kwargs={"ref": making.ref, **kept})
    finished = make_finished()
    for route in ("making_repeat", "making_report"):
        ground.addresses[route] = reverse(route, args=[finished.ref])
    ground.also.append(reverse("making_log", args=[finished.ref]))


def _in_stock_and_on_offer(ground: Ground) -> None:
    finished = make_finished()
    ground.also += [
        reverse("delivery_new", args=[finished.commission.ref]) if finished.commission else "/",
        f"{reverse('purchase_new')}?source={make_offer().source_id}",
        reverse("sheets_in_hand"),
    ]
    ground.also += [
        reverse("delivery_new", args=[ref])
        for ref in type(finished)
        .objects.exclude(commission=None)
        .values_list("commission__ref", flat=True)
    ]


def _handed_in(ground: Ground, owner: Any) -> None:
    """Lay a list on the desk that has been looked over."""
    clients = text_of({"name": "Quay Print Room", "contact": "", "remarks": ""})
    browser = signed_in(owner)
    page = reverse("data_bring", args=["clients"])
    [form] = [one for one in forms_of(browser.get(page).content.decode(), page) if one.files]
    sent = {name: values[0] for name, values in form.fields.items() if values}
    file = SimpleUploadedFile("clients.csv", clients)
    with patch.object(background, "in_background", lambda work, name: work()):
        answer = browser.post(page, {**sent, "file": file})
    for route in ("data_handed", "data_progress"):
        token = answer["Location"].rstrip("/").rpartition("/")[2]
        ground.addresses[route] = reverse(route, args=[token])


def route_of(path: str) -> str:
    """Return the name of the route that an address leads to."""
    try:
        return resolve(urlsplit(path).path).url_name or ""
    except Resolver404:
        return ""


@contextmanager
def undone() -> Iterator[None]:
    """Take back whatever is written inside."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def everything() -> dict[str, str]:
    """Return all that stands in each table of the studio, but for those of the door."""
    names = {model._meta.db_table for model in apps.get_models(include_auto_created=True)}
    found = {}
    with connection.cursor() as cursor:
        for table in sorted(names):
            if not table.startswith(BOOKS_OF_THE_DOOR):
                cursor.execute(f'SELECT * FROM "{table}"')
                found[table] = "\n".join(sorted(map(repr, cursor.fetchall())))
    return found


def writes() -> int:
    """Return a number that grows with each row written; on another engine, with each question."""
    connection.ensure_connection()
    if connection.vendor == "sqlite":
        return int(connection.connection.total_changes)
    global _asked
    _asked += 1
    return _asked


_asked = 0
