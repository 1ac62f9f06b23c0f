"""What other programs read: each answer as the description says, and as the commands say it."""

from __future__ import annotations

import io
import json
from copy import deepcopy
from decimal import Decimal

import pytest
import schemathesis
from django.core.cache import cache
from django.core.management import call_command
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, settings
from schemathesis.openapi.checks import JsonSchemaError

from fibres.models import Lot, Source
from orders.api import store
from orders.api.description import DESCRIPTION
from orders.calc import plan
from orders.makings import log
from orders.models import Commission
from studio import tokens
from studio.checks import every_pattern
from studio.roles import HAND, OWNER, ROLES, VIEWER
from studio.wsgi import application
from tests.builders import (
    KG,
    make_commission,
    make_fibre,
    make_finished,
    make_furnish,
    make_lot,
    make_making,
    make_offer,
    make_purchase,
    make_sheet,
    make_source,
    make_studio,
    make_user,
)
from tests.roles.test_money import MARKS, SEEDS, money_columns

pytestmark = pytest.mark.django_db
OK = 200
READINGS = ("/api/", "/api/snapshot/", "/api/store/", "/api/cover/", "/api/cover/C-101/")


@pytest.fixture(autouse=True)
def nobody_waits():
    cache.clear()
    yield
    cache.clear()


@pytest.fixture(autouse=True)
def connection_stays():
    """Keep the connection that holds what the test has made, as Django's own test client does."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def bearer(role):
    return {"Authorization": f"Bearer {tokens.make(make_user(role), 'rack scale')}"}


def reading(path, role=OWNER, **more):
    return Client().get(path, headers=bearer(role), **more)


@pytest.fixture
def studio_at_work():
    """Fill a studio so that each list of each answer has something in it."""
    make_studio(name="Withy Mill", currency="GBP")
    fibre, other = make_fibre(minimum_mg=50 * KG), make_fibre()
    lot = make_lot(fibre, as_is_mg=2 * KG, paid_minor=2_000)
    make_lot(other, make_source(kind=Source.Kind.DONOR), place="Rack 2")
    make_offer(fibre, breaks={4: 900})
    make_purchase(make_offer(other))
    sheet = make_sheet(make_furnish({fibre: "1"}))
    make_commission(sheet, ref="C-101", good_quantity=5_000)
    make_commission(sheet, good_quantity=10).only_lots.add(lot)
    empty = make_furnish()
    empty.parts.all().delete()
    make_commission(make_sheet(empty), ref="C-900")
    make_finished()
    by = make_user(HAND)
    at_vat = make_lot(fibre)
    log.issue(log.start(make_making(), by=by), at_vat, as_is_mg=KG, by=by)
    # What the description takes as an example.
    assert Lot.objects.filter(ref="AB-0003").exists()


# --- as the description says

schema = schemathesis.openapi.from_dict(deepcopy(DESCRIPTION))
schema.app = application


@pytest.fixture
def owners_token():
    return bearer(OWNER)


@schema.parametrize()
@settings(
    max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
def test_whatever_is_asked_the_answer_is_one_that_is_described(case, studio_at_work, owners_token):
    # Each example also tries a wrong token, and after five of them the answer would be to wait.
    cache.clear()
    case.call_and_validate(headers=owners_token)


def test_description_is_valid_and_names_every_address():
    schema.validate()
    ours = {str(one.pattern) for one in every_pattern() if str(one.pattern).startswith("api/")}
    assert {f"/{path.replace('<ref:ref>', '{ref}')}" for path in ours} == set(DESCRIPTION["paths"])


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("path", READINGS)
def test_answer_over_a_studio_at_work_is_as_described(studio_at_work, path, role):
    pattern = path.replace("C-101", "{ref}")
    case = schema[pattern]["GET"].Case(
        path_parameters={"ref": "C-101"} if "{ref}" in pattern else {}
    )
    assert case.call_and_validate(headers=bearer(role)).status_code == OK


def test_check_tells_an_answer_that_is_not_as_described(monkeypatch):
    monkeypatch.setattr(store, "read", lambda *args, **kwargs: {"today": "soon", "lots": 3})
    case = schema["/api/store/"]["GET"].Case()
    with pytest.RaisesGroup(*[JsonSchemaError] * 3) as told:
        case.call_and_validate(headers=bearer(OWNER))
    assert "'soon'" in str(told.value) or '"soon"' in str(told.value)


# --- as the commands say it


def said_by(*command):
    out = io.StringIO()
    call_command(*command, stdout=out, stderr=io.StringIO())
    return json.loads(out.getvalue())


def test_owner_reads_the_snapshot_that_the_command_writes(studio_at_work):
    answer = reading("/api/snapshot/").json()
    assert answer == said_by("snapshot")
    assert answer["lots"]
    assert answer["sourcing"]["offers"]
    assert plan.from_json(answer).commissions


def test_owner_reads_the_cover_that_the_command_says(studio_at_work):
    answer = reading("/api/cover/").json()
    assert answer == said_by("cover", "--json")
    assert len(answer["commissions"]) > 1
    assert answer["left_out"][0]["ref"] == "C-900"


@pytest.mark.parametrize("ref", ["C-101", "c-101"])
def test_owner_reads_the_cover_of_one_that_the_command_says(studio_at_work, ref):
    answer = reading(f"/api/cover/{ref}/").json()
    assert answer == said_by("cover", ref, "--json")
    assert [row["ref"] for row in answer["commissions"]] == ["C-101"]
    assert answer["commissions"][0]["state"] == "short"


def test_one_that_is_only_asked_for_is_counted_in(studio_at_work):
    make_commission(ref="C-102", state=Commission.State.ENQUIRY)
    assert "C-102" not in str(reading("/api/cover/").json()["commissions"])
    assert reading("/api/cover/C-102/").json()["commissions"][0]["ref"] == "C-102"


@pytest.mark.parametrize(
    ("path", "status", "sentence"),
    [
        ("/api/cover/C-110/", 404, "No open commission is called 'C-110'. Near it: C-101"),
        ("/api/cover/C-900/", 409, "C-900 cannot be reckoned: The furnish of"),
        ("/api/nothing/", 404, "/api/ lists what there is"),
        ("/api/cover/C%20%2F/", 404, "/api/ lists what there is"),
        ("/api/store/?after=ZZ-1", 404, "after: no lot is called 'ZZ-1'"),
        ("/api/store/?after=", 404, "after: no lot is called ''"),
        ("/api/store/?after=%00", 404, "after: no lot is called"),
        ("/api/store/?afer=AB-0003", 400, "“afer” is not asked at this address. It takes after."),
        ("/api/cover/?after=1", 400, "It takes none."),
        ("/api/store/?after=1&after=2", 400, "after is given 2 times. Give it once."),
    ],
)
def test_refusal_is_one_sentence_in_json(studio_at_work, path, status, sentence):
    answer = reading(path, HAND)
    assert answer.status_code == status
    assert sentence in answer.json()["error"]
    assert list(answer.json()) == ["error"]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS"])
@pytest.mark.parametrize("path", [*READINGS, "/api/openapi.json"])
def test_nothing_but_reading_is_answered(path, method):
    browser = Client(enforce_csrf_checks=True)
    answer = browser.generic(method, path, headers=bearer(OWNER))
    assert (answer.status_code, answer["Allow"]) == (405, "GET, HEAD")
    assert "change nothing" in answer.json()["error"]


@pytest.mark.parametrize("path", READINGS)
def test_head_says_what_get_says_without_the_body(studio_at_work, path):
    asked = bearer(OWNER)
    head = Client().head(path, headers=asked)
    assert head.status_code == OK
    assert head.content == b""
    assert head["Content-Type"] == Client().get(path, headers=asked)["Content-Type"]
    assert head["Cache-Control"] == "no-store"


def test_what_is_broken_is_told_in_json(studio_at_work, monkeypatch):
    monkeypatch.setattr(store, "read", lambda *args, **kwargs: 1 / 0)
    browser = Client(raise_request_exception=False)
    answer = browser.get("/api/store/", headers=bearer(OWNER))
    assert answer.status_code == 500
    assert "Something failed here" in answer.json()["error"]
    assert "ZeroDivision" not in answer.content.decode()


# --- the store


def test_figures_of_a_fibre_by_hand():
    fibre = make_fibre(name="Hemp half-stuff", minimum_mg=KG)
    make_lot(fibre, as_is_mg=10 * KG, moisture="0.08", place="Rack 2")
    make_purchase(make_offer(fibre), packs=3)
    found = reading("/api/store/").json()
    [row] = found["fibres"]
    # 10 kg less 8 % water is 9.2 kg; 3 packs of 5 kg less 8 % are 13.8 kg.
    assert row == {
        "fibre": "Hemp half-stuff",
        "state": fibre.state,
        "on_hand_oven_dry_mg": 9_200_000,
        "at_the_vat_oven_dry_mg": 0,
        "promised_oven_dry_mg": 0,
        "free_oven_dry_mg": 9_200_000,
        "on_its_way_oven_dry_mg": 13_800_000,
        "minimum_oven_dry_mg": 1_000_000,
        "short_from": None,
        "stands": "covered",
    }
    [lot] = found["lots"]
    assert (lot["received_as_is_mg"], lot["on_hand_oven_dry_mg"]) == (10_000_000, 9_200_000)
    assert (lot["place"], Decimal(lot["moisture"])) == ("Rack 2", Decimal("0.08"))
    assert found["next"] is None


def test_free_is_on_hand_less_weighed_out_and_promised(studio_at_work):
    rows = reading("/api/store/").json()["fibres"]
    assert any(row["at_the_vat_oven_dry_mg"] for row in rows)
    assert any(row["promised_oven_dry_mg"] for row in rows)
    for row in rows:
        gone = row["at_the_vat_oven_dry_mg"] + row["promised_oven_dry_mg"]
        assert row["free_oven_dry_mg"] == row["on_hand_oven_dry_mg"] - gone


def test_lots_come_in_parts_each_once(monkeypatch):
    monkeypatch.setattr(store, "PART", 2)
    fibre = make_fibre()
    refs = [make_lot(fibre).ref for _ in range(5)]
    asked, path, found = bearer(VIEWER), "", []
    for _ in range(3):
        answer = Client().get(f"/api/store/{path}", headers=asked).json()
        assert ("fibres" in answer) is (path == "")
        found.append([lot["ref"] for lot in answer["lots"]])
        path = answer["next"]
    assert found == [refs[:2], refs[2:4], refs[4:]]
    assert path is None


def test_viewer_reads_no_name_of_a_donor_who_did_not_agree():
    donor = make_source(kind=Source.Kind.DONOR, may_be_named=False)
    make_lot(source=donor)
    assert donor.name in reading("/api/store/", HAND).content.decode()
    for path in READINGS[1:4]:
        assert donor.name not in reading(path, VIEWER).content.decode()
    assert reading("/api/store/", VIEWER).json()["lots"][0]["source"] == "A donor"


@pytest.mark.parametrize("path", READINGS)
def test_asks_as_much_of_the_database_for_twenty_rows_as_for_one(path):
    fibre = make_fibre()
    sheet = make_sheet(make_furnish({fibre: "1"}))
    make_lot(fibre)
    make_offer(fibre)
    make_commission(sheet, ref="C-101")
    asked = bearer(OWNER)
    Client().get(path, headers=asked)
    with CaptureQueriesContext(connection) as one:
        Client().get(path, headers=asked)
    for _ in range(19):
        make_lot(fibre, make_source())
        make_offer(make_fibre())
        make_commission(make_sheet(make_furnish({fibre: "1"})))
    with CaptureQueriesContext(connection) as twenty:
        assert Client().get(path, headers=asked).status_code == OK
    assert len(twenty) == len(one)


# --- money


@pytest.mark.parametrize("role", [HAND, VIEWER])
def test_amounts_are_the_owners_alone(studio_at_work, role):
    seeded = set()
    for model, field in money_columns():
        for row in model._base_manager.order_by("pk"):
            number = next(SEEDS)
            model._base_manager.filter(pk=row.pk).update(**{field.name: number})
            seeded.add(str(number))

    def shown(who):
        texts = [MARKS.sub("", reading(path, who).content.decode()) for path in READINGS]
        return " ".join(texts)

    owners, hidden = shown(OWNER), shown(role)
    assert {number for number in seeded if number in owners}
    assert {number for number in seeded if number in hidden} == set()
    assert "minor" not in hidden
    assert '"breaks":' not in hidden


@pytest.mark.parametrize("path", READINGS)
@pytest.mark.parametrize("role", [HAND, VIEWER])
def test_no_amount_that_was_worked_out_is_read_either(studio_at_work, path, role):
    """Whatever the owner reads and a hand does not stands under a key that says so."""
    theirs, owners = reading(path, role).json(), reading(path).json()
    lost = set(keys_of(owners)) - set(keys_of(theirs))
    assert {key for key in lost if "minor" not in key and key != "breaks"} == set()
    assert bool(lost) is (path != "/api/")


def keys_of(plain):
    if isinstance(plain, dict):
        for key, held in plain.items():
            yield key
            yield from keys_of(held)
    elif isinstance(plain, list):
        for held in plain:
            yield from keys_of(held)
