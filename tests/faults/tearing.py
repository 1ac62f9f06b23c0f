"""A log of entries that was torn, as by a power cut."""

from __future__ import annotations

import shutil
import uuid
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

from fibres.models import Lot
from fibres.services import take_out
from tests.builders import day

TORN = "torn.sqlite3"


def take_and_keep_the_log(lot: str, times: int) -> dict[str, Any]:
    """Take fibre out, and keep file and log as they lie before the log is taken in."""
    with connection.cursor() as cursor:
        mode = cursor.execute("PRAGMA journal_mode").fetchone()[0]
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        cursor.execute("PRAGMA wal_autocheckpoint=0").fetchall()
    held, keys = Lot.objects.get(ref=lot), []
    for _ in range(times):
        key = uuid.uuid4()
        take_out(
            held, as_is_mg=100, kind="discarded", happened_on=day(), why="fault test", by=None,
            key=key,
        )  # fmt: skip
        keys.append(key.hex)
    folder = Path(settings.DATA_DIR)
    for suffix in ("", "-wal"):
        shutil.copyfile(folder / f"halfstuff.sqlite3{suffix}", folder / f"{TORN}{suffix}")
    return {"mode": mode, "keys": keys}
