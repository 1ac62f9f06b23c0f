"""Fifty people read and write at once: nobody gets an error, and nothing taken on is lost.

``HALFSTUFF_LOAD_SECONDS=60`` goes on for a minute on PostgreSQL; a third of that on SQLite. How
long pages take depends on the machine, so it is printed (``pytest -rP``) and not judged: the time
that 95 of 100 keep to, beside that of a bare page which the same server answered meanwhile.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
from collections import Counter, defaultdict
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.faults.place import ROOT, Place
from tests.load.browser import Told
from tests.load.people import Person
from tests.load.site import lay_out, many_workers, one_process, serving

pytestmark = pytest.mark.load

PEOPLE = 50
SECONDS = float(os.environ.get("HALFSTUFF_LOAD_SECONDS", "12"))
BARE = "Bare page"
PULLS = (
    "SELECT making.ref, SUM(post.pulls) FROM orders_post post "
    "JOIN orders_making making ON making.id = post.making_id GROUP BY making.ref"
)


@pytest.mark.skipif(sys.platform == "win32", reason="gunicorn runs on no Windows")
def test_fifty_people_at_once_lose_nothing(place: Place):
    is_shared = bool(place.url)
    made = lay_out(place, PEOPLE)
    port = _free_port()
    command = many_workers(port) if is_shared else one_process(port)
    seconds = SECONDS if is_shared else SECONDS / 3

    with serving(place, command, port) as site:
        told = _all_at_once(port, made, seconds)
    sys.stdout.write(f"\n{table(told, seconds)}\n")

    assert [fault for one in told for fault in one.faults] == []
    assert site.complaints() == []
    keys = {key.replace("-", "") for one in told for key in one.keys}
    counted = sum((one.pulls for one in told), Counter())
    assert keys
    assert counted
    assert keys - place.entry_keys() == set()
    assert {ref: pulls for ref, pulls in place.rows(PULLS) if pulls} == dict(counted)
    assert place.unsound() == []
    assert _audited(place) == 0


def _all_at_once(port: int, made: dict[str, object], seconds: float) -> list[Told]:
    begin = threading.Barrier(PEOPLE)
    people = [Person(port, made, number) for number in range(PEOPLE)]
    with ThreadPoolExecutor(PEOPLE) as pool:
        return list(pool.map(lambda person: person.work(begin, seconds), people))


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def _audited(place: Place) -> int:
    """Let the program itself look its book over."""
    command = [sys.executable, "manage.py", "audit"]
    done = subprocess.run(
        command, cwd=ROOT, env=place.environment(), capture_output=True, text=True, timeout=240
    )
    return done.returncode


def table(told: Iterable[Told], seconds: float) -> str:
    """Set out how long each page took."""
    took: dict[str, list[float]] = defaultdict(list)
    for one in told:
        for page, lasted in one.seconds:
            took[page].append(lasted)
    bare = _of_100(took.get(BARE, []), 95)
    asked = sum(map(len, took.values()))
    lines = [
        f"{PEOPLE} people for {seconds:g} s, signing in before; {asked} answers.",
        f"{'':<18}{'times':>7}{'half':>9}{'95 of 100':>11}{'to bare':>9}",
    ]
    for page, all_of_it in sorted(took.items()):
        half, most = _of_100(all_of_it, 50), _of_100(all_of_it, 95)
        beside = f"{most / bare:.1f}" if bare else "-"
        lines.append(
            f"{page:<18}{len(all_of_it):>7}{half * 1000:>6.0f} ms{most * 1000:>8.0f} ms{beside:>9}"
        )
    return "\n".join(lines)


def _of_100(took: list[float], share: int) -> float:
    """Return the time that so many of 100 keep to, by nearest rank."""
    ordered = sorted(took)
    return ordered[max(0, -(-len(ordered) * share // 100) - 1)] if ordered else 0.0
