"""Each fault test runs in a database of its own, on both engines."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.place import Place, postgresql_database

SERVER = "HALFSTUFF_TEST_POSTGRES"


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    if request.param == "sqlite":
        yield Place(tmp_path)
        return
    server = os.environ.get(SERVER, "")
    if not server:
        pytest.skip(f"{SERVER} names no PostgreSQL server")
    with postgresql_database(server) as url:
        yield Place(tmp_path, url)
