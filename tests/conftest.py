"""What every test stands on: a folder of its own, three people, and tables that can be emptied."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from django.conf import settings as house_settings
from django.contrib.auth.models import AbstractUser
from django.test import Client, TransactionTestCase

from studio import appendonly
from studio.roles import HAND, OWNER, VIEWER
from tests.builders import make_user, signed_in

# The settings are read before any conftest is, so the folder is put right in both places:
# here for this process, and in the environment for those that a test starts.
DATA = Path(tempfile.mkdtemp(prefix="halfstuff-tests-"))
os.environ["HALFSTUFF_DATA"] = str(DATA)
house_settings.DATA_DIR = DATA
# Signing in without a request is what most tests do; those about the lock turn it on.
house_settings.AXES_ENABLED = False
house_settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

# A loaded machine is slow, not wrong.
hypothesis.settings.register_profile("house", deadline=None)
hypothesis.settings.load_profile("house")

_empty_tables = TransactionTestCase._fixture_teardown


def _empty_guarded_tables(*args: Any) -> None:
    """Take the triggers off for as long as a test that commits is cleaned up after."""
    appendonly.remove()
    try:
        _empty_tables(*args)
    finally:
        appendonly.install()


TransactionTestCase._fixture_teardown = _empty_guarded_tables  # type: ignore[method-assign]


def pytest_unconfigure() -> None:
    shutil.rmtree(DATA, ignore_errors=True)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what asks the database: the rest is the same whatever engine lies below."""
    for item in items:
        fixtures = getattr(item, "fixturenames", ())
        if "db" in fixtures or item.get_closest_marker("django_db"):
            item.add_marker("database")


@pytest.fixture
def owner(db: None) -> AbstractUser:
    return make_user(OWNER)


@pytest.fixture
def hand(db: None) -> AbstractUser:
    return make_user(HAND)


@pytest.fixture
def viewer(db: None) -> AbstractUser:
    return make_user(VIEWER)


@pytest.fixture
def owner_client(owner: AbstractUser) -> Client:
    return signed_in(owner)


@pytest.fixture
def hand_client(hand: AbstractUser) -> Client:
    return signed_in(hand)


@pytest.fixture
def viewer_client(viewer: AbstractUser) -> Client:
    return signed_in(viewer)


@pytest.fixture(autouse=True)
def _plans_count_as_quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep a loaded machine from storing plans: what is asked of the database stays the same."""
    monkeypatch.setattr("orders.reordering.QUICK_SECONDS", 600)
