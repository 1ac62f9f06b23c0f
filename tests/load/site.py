"""The studio served as its papers say, in processes of its own."""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.faults.place import ROOT, Place

SETTINGS = "tests.load.settings"
WORKERS, THREADS = 3, 4
START_SECONDS = 60
STOP_SECONDS = 40


@dataclass(frozen=True)
class Site:
    """Where the pages are, and what the server said."""

    port: int
    log: Path

    def complaints(self) -> list[str]:
        """Return what the server said that is not good."""
        bad = ("Traceback", "ERROR", "CRITICAL", "database is locked", "deadlock")
        lines = self.log.read_text("utf-8").splitlines()
        return [line for line in lines if any(word in line for word in bad)]


def many_workers(port: int) -> list[str]:
    """Return the command that the README gives for several people on several machines."""
    return [
        *(sys.executable, "-m", "gunicorn", "studio.wsgi"),
        *("--bind", f"127.0.0.1:{port}", "--workers", str(WORKERS), "--threads", str(THREADS)),
    ]


def one_process(port: int) -> list[str]:
    """Return the command that serves a studio on one machine."""
    return [sys.executable, "manage.py", "serve", "--port", str(port)]


def lay_out(place: Place, people: int) -> dict[str, Any]:
    """Fill the database of a place and return what there is."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.load.layout", str(people)],
        cwd=ROOT,
        env=place.environment(),
        capture_output=True,
        text=True,
        timeout=240,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


@contextmanager
def serving(place: Place, command: list[str], port: int) -> Iterator[Site]:
    """Serve until the end, and stop as a person would."""
    site = Site(port, place.folder / "server.log")
    environment = {**place.environment(), "DJANGO_SETTINGS_MODULE": SETTINGS}
    with (
        site.log.open("w", encoding="utf-8") as log,
        subprocess.Popen(command, cwd=ROOT, env=environment, stdout=log, stderr=log) as process,
    ):
        try:
            _wait_for(site, process)
            yield site
            process.terminate()
            process.wait(timeout=STOP_SECONDS)
        finally:
            process.kill()


def _wait_for(site: Site, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + START_SECONDS
    while time.monotonic() < until:
        assert process.poll() is None, site.log.read_text("utf-8")[-2000:]
        try:
            with closing(http.client.HTTPConnection("127.0.0.1", site.port, timeout=10)) as line:
                line.request("GET", "/log-in/")
                if line.getresponse().status == 200:
                    return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("The server did not start.")
