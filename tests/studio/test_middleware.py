import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.test import RequestFactory

from studio.middleware import Gate, is_local
from studio.roles import HAND, OWNER, PUBLIC, needs
from tests.builders import make_studio, make_user

STUDIO = "/studio/"


@pytest.fixture
def demo(settings, db):
    make_studio()
    settings.DEMO = True
    settings.ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]", "mill.example", "testserver"]
    return make_user(OWNER)


def reached(client, **meta):
    return client.get(STUDIO, **{"HTTP_HOST": "127.0.0.1", **meta}).status_code == 200


# --- demo owner --------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:8000", "[::1]:8000", "[::1]"])
def test_local_caller_of_a_demo_is_its_owner(client, demo, host):
    assert reached(client, HTTP_HOST=host)


@pytest.mark.parametrize(
    "meta",
    [
        {"REMOTE_ADDR": "192.168.1.20"},
        {"REMOTE_ADDR": "203.0.113.9"},
        {"REMOTE_ADDR": ""},
        {"HTTP_HOST": "mill.example"},
        {"HTTP_X_FORWARDED_FOR": "203.0.113.9"},
        {"HTTP_X_FORWARDED_FOR": "127.0.0.1"},
        {"HTTP_FORWARDED": "for=203.0.113.9"},
        {"HTTP_X_REAL_IP": "203.0.113.9"},
        {"HTTP_VIA": "1.1 proxy"},
        {"HTTP_X_FORWARDED_HOST": "mill.example"},
    ],
    ids=lambda meta: " ".join(f"{name}={value}" for name, value in meta.items()),
)
def test_caller_from_elsewhere_is_led_to_the_log_in(client, demo, meta):
    assert not reached(client, **meta)


def test_outside_demo_mode_a_local_caller_is_led_to_the_log_in(client, demo, settings):
    settings.DEMO = False
    assert not reached(client)


def test_demo_without_an_owner_signs_nobody_in(client, demo):
    demo.is_superuser = False
    demo.save()
    assert not reached(client)


def test_person_who_signed_in_to_a_demo_stays_who_they_are(hand_client, demo):
    assert hand_client.get(STUDIO).status_code == 403


def test_foreign_host_is_refused(client, owner):
    response = client.get("/log-in/", HTTP_HOST="evil.example")
    assert response.status_code == 400
    assert b"evil.example" not in response.content


def test_is_local_reads_the_name_without_its_port():
    factory = RequestFactory()
    assert is_local(factory.get("/", HTTP_HOST="localhost:8000"))
    assert is_local(factory.get("/", HTTP_HOST="[::1]", REMOTE_ADDR="::1"))


# --- first run ---------------------------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/", STUDIO, "/log-in/"])
def test_without_an_account_every_page_leads_to_the_first_run(client, path):
    response = client.get(path)
    assert (response.status_code, response["Location"]) == (302, "/first-run/")


@pytest.mark.django_db
def test_first_run_itself_is_shown(client):
    assert client.get("/first-run/").status_code == 200


def test_with_an_account_the_first_run_is_closed(client, owner):
    response = client.get("/first-run/")
    assert (response.status_code, response["Location"]) == (302, "/log-in/")
    given = {"studio_name": "Mine", "user_name": "eve", "password": "x", "password_again": "x"}
    client.post("/first-run/", given)
    assert not get_user_model().objects.filter(username="eve").exists()


# --- the gate ----------------------------------------------------------------------------------


def quiet(request):
    return HttpResponse()


def passes(view, user):
    request = RequestFactory().get("/")
    request.user = user
    return Gate(quiet).process_view(request, view, (), {}) is None


@pytest.mark.django_db
def test_gate_refuses_a_view_that_declares_nothing_even_to_the_owner():
    with pytest.raises(PermissionDenied):
        passes(quiet, make_user(OWNER))


@pytest.mark.django_db
def test_gate_refuses_whom_the_table_does_not_name():
    view = needs("money")(lambda request: HttpResponse())
    assert passes(view, make_user(OWNER))
    with pytest.raises(PermissionDenied):
        passes(view, make_user(HAND))


def test_gate_lets_anybody_through_the_door():
    assert passes(needs(PUBLIC)(lambda request: HttpResponse()), AnonymousUser())
