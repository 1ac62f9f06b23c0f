"""The small server: takes its port first, says where it is, and answers on this machine."""

from __future__ import annotations

import errno
import os
import re
import selectors
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.request import HTTPRedirectHandler, Request, build_opener

import pytest
from django.conf import LazySettings
from django.conf import settings as house_settings
from django.core.management import CommandError, call_command

from studio import serving
from studio.copies import sqlitefile
from studio.errors import StudioError

SECONDS = 40
ADDRESS = re.compile(r"Open (http://127\.0\.0\.1:\d+/) in a browser")


class _Stay(HTTPRedirectHandler):
    """Answer with the first answer, wherever it leads."""

    def redirect_request(self, *args: Any) -> None:
        return None


def status(address: str, **headers: str) -> tuple[int, str]:
    """Return the status of a page and where it leads."""
    opener = build_opener(_Stay)
    opener.process_response = {}  # type: ignore[assignment]  # no error is raised for 3xx and 4xx
    with opener.open(Request(address, headers=headers), timeout=10) as answer:
        return answer.status, answer.headers.get("Location", "")


@contextmanager
def started(folder: Path, *command: str) -> Iterator[str]:
    """Run a serving command in a process of its own, for as long as it is looked at."""
    environment = {**os.environ, "HALFSTUFF_DATA": str(folder), "PYTHONUNBUFFERED": "1"}
    environment.pop("HALFSTUFF_DATABASE_URL", None)
    process = subprocess.Popen(
        [sys.executable, "manage.py", *command, "--port", "0", "--skip-checks"],
        cwd=house_settings.BASE_DIR,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        # A shell that runs tests in the background has them ignore Ctrl-C; the server must not.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    try:
        yield _address_said(process)
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.communicate(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
    assert process.returncode == 0


def _address_said(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    said = ""
    ends = time.monotonic() + SECONDS
    with selectors.DefaultSelector() as waiting:
        waiting.register(process.stdout, selectors.EVENT_READ)
        while time.monotonic() < ends and process.poll() is None:
            if waiting.select(timeout=0.5):
                said += os.read(process.stdout.fileno(), 65536).decode()
                found = ADDRESS.search(said)
                if found:
                    return found[1]
    pytest.fail(f"No address within {SECONDS} seconds; said: {said}")


@pytest.mark.parametrize("given", ["0", "8000", 65535])
def test_ports_are_read(given: str | int) -> None:
    assert serving.read_port(given) == int(given)


@pytest.mark.parametrize(
    "given", ["", "-1", "65536", "8000.0", "http", "٣", "9" * 10_000, "1e3", "0008000000"]
)
def test_what_is_no_port_is_refused(given: str) -> None:
    with pytest.raises(StudioError, match="Give a port from 1 to 65535") as refused:
        serving.read_port(given)
    assert refused.value.field == "port"
    assert len(str(refused.value)) < 120


def test_a_port_in_use_is_said_in_one_line() -> None:
    with serving.listen(0) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(StudioError, match=rf"^Port {port} is in use\. .*--port \d+\.$"):
            serving.listen(port)


def test_serve_fails_with_that_line_before_it_touches_the_database(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(serving, "migrate", lambda: pytest.fail("migrated all the same"))
    with serving.listen(0) as taken, pytest.raises(CommandError, match="is in use"):
        call_command("serve", port=str(taken.getsockname()[1]))


@pytest.mark.parametrize("host", ["no such host.invalid", "a" * 300])
def test_an_address_that_is_none_is_refused(host: str) -> None:
    with pytest.raises(StudioError, match="This machine knows no address"):
        serving.listen(0, host=host)


@pytest.mark.parametrize(
    ("number", "sentence"),
    [
        (errno.EACCES, "kept for the system"),
        (errno.EADDRNOTAVAIL, "Cannot serve on 127.0.0.1 at port 80: gone"),
    ],
)
def test_other_refusals_of_the_machine_are_said_too(
    monkeypatch: pytest.MonkeyPatch, number: int, sentence: str
) -> None:
    def refuse(self: socket.socket, address: object) -> None:
        raise OSError(number, "gone")

    monkeypatch.setattr(socket.socket, "bind", refuse)
    with pytest.raises(StudioError, match=sentence):
        serving.listen(80)


def test_the_last_port_is_not_followed_by_one_that_is_none() -> None:
    assert "--port 8000." in serving._why_not(OSError(errno.EADDRINUSE, ""), "127.0.0.1", 65535)


def test_an_address_can_be_typed_as_it_is_said() -> None:
    with serving.listen(0) as taken:
        port = taken.getsockname()[1]
        assert serving.address_of(taken) == f"http://127.0.0.1:{port}/"


@pytest.mark.skipif(not socket.has_ipv6, reason="this machine has no IPv6")
def test_an_address_of_the_newer_kind_is_put_in_brackets() -> None:
    try:
        taken = serving.listen(0, host="::1")
    except StudioError:
        pytest.skip("this machine has no IPv6 loopback")
    with taken:
        assert serving.address_of(taken).startswith("http://[::1]:")


def test_serve_migrates_and_then_serves_on_the_port_it_took(
    monkeypatch: pytest.MonkeyPatch, settings: LazySettings, tmp_path: Path
) -> None:
    done: list[str] = []

    def migrate(name: str, **options: Any) -> None:
        done.append(f"{name} at verbosity {options['verbosity']}")

    class Server:
        def run(self) -> None:
            done.append("run")

        def close(self) -> None:
            done.append("close")

    def create(application: Any, **adjustments: Any) -> Server:
        done.append(adjustments["sockets"][0].getsockname()[0])
        return Server()

    monkeypatch.setattr(serving, "call_command", migrate)
    monkeypatch.setattr(serving, "create_server", create)
    monkeypatch.setattr(sqlitefile, "is_behind", lambda: False)
    out = StringIO()
    call_command("serve", port="0", stdout=out)
    assert done == ["migrate at verbosity 0", "127.0.0.1", "run", "close"]
    assert ADDRESS.match(out.getvalue())


def test_serve_starts_on_an_empty_folder_and_leads_to_the_first_run(tmp_path: Path) -> None:
    with started(tmp_path, "serve") as address:
        assert status(address) == (302, "/first-run/")
    assert (tmp_path / "halfstuff.sqlite3").is_file()


def test_the_demo_opens_without_a_password_for_callers_on_this_machine_alone(
    tmp_path: Path,
) -> None:
    with started(tmp_path, "demo") as address:
        assert status(address)[0] == 200
        # Another server in between, and a name from elsewhere that points here.
        assert status(address, **{"X-Forwarded-For": "192.0.2.7"})[0] == 302
        assert status(address, Host="elsewhere.example")[0] == 400
    assert (tmp_path / "demo.sqlite3").is_file()
    assert not (tmp_path / "halfstuff.sqlite3").exists()
