"""Writers who go on while the server of the database is broken off under them, again and again."""

from __future__ import annotations

import os
import random
import time
import uuid
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

from django.conf import settings
from django.db import (
    InterfaceError,
    OperationalError,
    close_old_connections,
    connection,
    transaction,
)

from fibres.models import Lot
from fibres.services import take_out
from orders.audit import audit
from studio import outages
from studio.entries import AlreadyEnteredError
from tests.builders import day
from tests.faults.cluster import Cluster
from tests.faults.forked import Forked
from tests.faults.place import Place

PATIENCE_SECONDS = 60
ASKED, TAKEN, FOUND_TAKEN, REFUSED = "asked", "taken", "found-taken", "refused"


def write_on(lot: str, seed: float, pipe: int) -> None:
    """Take fibre out until killed; what the database did not answer is asked once more, as it was.

    Each line to the pipe is a word and what it is of: a key, or what the database said.
    """
    dice = random.Random(seed)
    held = Lot.objects.get(ref=lot)
    while True:
        key, mass = uuid.uuid4(), dice.randint(1, 1000)
        _say(pipe, ASKED, key.hex)
        while not (became := _try(held, mass, key, pipe)):
            time.sleep(0.02)
        _say(pipe, became, key.hex)
        time.sleep(dice.uniform(0, 0.012))


def _try(lot: Lot, as_is_mg: int, key: uuid.UUID, pipe: int) -> str:
    try:
        take_out(
            lot, as_is_mg=as_is_mg, kind="discarded", happened_on=day(), why="fault test", by=None,
            key=key,
        )  # fmt: skip
    except AlreadyEnteredError:
        return FOUND_TAKEN
    except (OperationalError, InterfaceError) as fault:
        kind = outages.outage_of(fault).kind
        _say(pipe, REFUSED, kind if kind == outages.AWAY else quote(str(fault), safe=""))
        # As between one request and the next.
        close_old_connections()
        return ""
    return TAKEN


def _say(pipe: int, word: str, of: str) -> None:
    os.write(pipe, f"{word}:{of}\n".encode())


def break_off_under_writers(
    cluster: dict[str, Any], lot: str, times: int, writers: int, seed: int
) -> dict[str, Any]:
    """Break the server off, start it, and look over the database, so many times."""
    server, dice = Cluster(**cluster), random.Random(seed)
    place = Place(Path(settings.DATA_DIR), os.environ["HALFSTUFF_DATABASE_URL"])
    found: dict[str, Any] = {"times": 0, "lost": 0, "unsound": [], "seconds": 0.0}
    connection.close()
    children = [Forked(write_on, lot, dice.random()) for _ in range(writers)]
    try:
        for number in range(times):
            _await_more(children)
            time.sleep(dice.uniform(0, 0.3))
            server.break_off()
            # What is acknowledged up to here has to be there, however the server ended.
            for child in children:
                child.said_so_far()
            acknowledged = told(children, TAKEN) | told(children, FOUND_TAKEN)
            began = time.monotonic()
            server.start()
            found["seconds"] = max(found["seconds"], time.monotonic() - began)
            found["times"] += 1
            found["lost"] += len(acknowledged - place.entry_keys())
            found["unsound"] += [f"crash {number}: {fault}" for fault in _unsound(place)]
        _await_more(children)
    finally:
        for child in children:
            child.kill()
    found["writers_died"] = sum(not child.was_killed for child in children)
    return found | _told_at_the_end(children, place)


def _told_at_the_end(children: list[Forked], place: Place) -> dict[str, Any]:
    taken, again = told(children, TAKEN), told(children, FOUND_TAKEN)
    there = place.entry_keys()
    said = [of for child in children for of in _of(child, REFUSED)]
    return {
        "acknowledged": len(taken | again),
        "found_taken": len(again),
        "lost_at_the_end": len((taken | again) - there),
        "asked": len(told(children, ASKED)),
        "refused": len(said),
        "other_words": sorted({unquote(of) for of in said if of != outages.AWAY}),
    }


def told(children: list[Forked], word: str) -> set[str]:
    """Return the keys that writers told under one word so far."""
    return {of for child in children for of in _of(child, word)}


def _of(child: Forked, word: str) -> list[str]:
    lines = child.said.decode().rpartition("\n")[0].split()
    return [line.partition(":")[2] for line in lines if line.startswith(f"{word}:")]


def _await_more(children: list[Forked]) -> None:
    """Wait until every writer had another entry acknowledged: it found its way back by itself."""
    before = [_listen(child) for child in children]
    ends = time.monotonic() + PATIENCE_SECONDS
    while any(_listen(child) <= had for child, had in zip(children, before, strict=True)):
        assert time.monotonic() < ends, "a writer did not find its way back"
        time.sleep(0.01)


def _listen(child: Forked) -> int:
    child.said_so_far()
    return len(_of(child, TAKEN))


def _unsound(place: Place) -> list[str]:
    """Look with the plain driver and with the audit, which writers do not wait for."""
    found = place.unsound()
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
            found += [str(fault) for fault in audit().faults]
    finally:
        # The next crash is none of this connection's business.
        connection.close()
    return found
