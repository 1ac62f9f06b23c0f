"""A studio with something behind each address; no work runs on after its answer."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.core.cache import cache

from orders import reordering
from studio import background
from tests.hostile.ground import Ground, build


@pytest.fixture(autouse=True)
def _nothing_runs_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reordering, "in_background", lambda work: None)
    monkeypatch.setattr(background, "in_background", lambda work, name: None)


@pytest.fixture(autouse=True)
def _nobody_waits() -> Iterator[None]:
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def ground(db: None) -> Ground:
    return build()
