"""A disk of three megabytes that fills up, and what a studio on it does before, then and after."""

from __future__ import annotations

import os
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection
from django.db.backends.signals import connection_created
from django.test import Client as Browser
from django.test.utils import setup_test_environment
from django.urls import reverse

from fibres.models import Lot
from fibres.services import take_out
from orders.models import Client
from orders.proving import prove
from studio.copies import making, room
from studio.errors import StudioError
from studio.people import make_owner
from tests.builders import day, make_lot, make_studio, signed_in

BALLAST = "ballast"
# Pages that are left where no disk can be made and the database is told to grow no more.
LEFT_PAGES = 8


@contextmanager
def small_disk(folder: Path, *, megabytes: int = 3) -> Iterator[bool]:
    """Put a small disk into a folder, if this account may; tell whether it did."""
    is_there = os.geteuid() == 0 and _run(
        "mount", "-t", "tmpfs", "-o", f"size={megabytes}m", "halfstuff-test", str(folder)
    )
    try:
        yield is_there
    finally:
        if is_there:
            _run("umount", "--lazy", str(folder))


@contextmanager
def room_left(kilobytes: int, *, is_disk: bool) -> Iterator[None]:
    """Leave so much room in the data folder; what opens the database within it meets that."""
    if is_disk:
        folder = Path(settings.DATA_DIR)
        free = os.statvfs(folder).f_bavail * os.statvfs(folder).f_frsize
        (folder / BALLAST).write_bytes(bytes(max(free - (kilobytes << 10), 0)))
        try:
            yield
        finally:
            (folder / BALLAST).unlink()
        return

    def narrow(connection: Any, **kwargs: Any) -> None:
        with connection.cursor() as cursor:
            pages = cursor.execute("PRAGMA page_count").fetchone()[0]
            size = cursor.execute("PRAGMA page_size").fetchone()[0]
            cursor.execute(f"PRAGMA max_page_count={pages + (kilobytes << 10) // size}")

    connection.close()
    connection_created.connect(narrow)
    try:
        yield
    finally:
        connection_created.disconnect(narrow)
        connection.close()


def make_read_only(folder: Path, *, is_disk: bool) -> None:
    """Let nothing be written in a folder any more: by its disk, else by its rights."""
    if is_disk:
        assert _run("mount", "-o", "remount,ro", str(folder))
        return
    for path in folder.iterdir():
        path.chmod(0o500 if path.is_dir() else 0o400)
    folder.chmod(0o500)


def make_writable(folder: Path, *, is_disk: bool) -> None:
    if is_disk:
        assert _run("mount", "-o", "remount,rw", str(folder))
        return
    folder.chmod(0o700)
    for path in folder.iterdir():
        path.chmod(0o700 if path.is_dir() else 0o600)


def _run(*command: str) -> bool:
    try:
        return subprocess.run(command, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        return False


# --- acts of a worker ----------------------------------------------------------------------------


def fill_disk(is_disk: bool) -> dict[str, Any]:
    """Fill the disk, meet it on every way in, make room, and go on."""
    setup_test_environment()
    call_command("migrate", verbosity=0)
    make_studio()
    lot = make_lot(as_is_mg=10**9, moisture="0.08")
    client = signed_in(make_owner("owner", None))
    client.raise_request_exception = False
    found: dict[str, Any] = {"acknowledged": [], "said": ""}
    _use_up(is_disk)
    while not found["said"]:
        found["said"] = _take(lot, found["acknowledged"])
    found["page"] = _page_of_a_lot(client, lot)
    found["read"] = [client.get(reverse(name)).status_code for name in ("today", "store")]
    found["import"] = _import_clients()
    found["clients"] = Client.objects.count()
    found["backup"] = _back_up() if is_disk else None
    _make_room(is_disk)
    found["after"] = [_take(lot, found["acknowledged"]) for _ in range(20)]
    found["page_after"] = _page_of_a_lot(client, lot)["status"]
    return found


def _use_up(is_disk: bool) -> None:
    if not is_disk:
        with connection.cursor() as cursor:
            pages = cursor.execute("PRAGMA page_count").fetchone()[0]
            cursor.execute(f"PRAGMA max_page_count={pages + LEFT_PAGES}")
        return
    folder = Path(settings.DATA_DIR)
    free = os.statvfs(folder).f_bavail * os.statvfs(folder).f_frsize
    (folder / BALLAST).write_bytes(bytes(max(free - (96 << 10), 0)))


def _make_room(is_disk: bool) -> None:
    if is_disk:
        (Path(settings.DATA_DIR) / BALLAST).unlink()
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA max_page_count=1000000")


def _take(lot: Lot, acknowledged: list[str]) -> str:
    """Take fibre out once; return what the database said where it could not."""
    key = uuid.uuid4()
    try:
        take_out(
            lot, as_is_mg=100, kind="discarded", happened_on=day(), why="x" * 150, by=None, key=key
        )  # fmt: skip
    except OperationalError as fault:
        return str(fault)
    acknowledged.append(key.hex)
    return ""


def _page_of_a_lot(client: Browser, lot: Lot) -> dict[str, Any]:
    """Fill in the page that takes fibre out, as a person does; return what comes back."""
    address = reverse("lot_take", args=[lot.ref])
    shown = client.get(address)
    if shown.status_code != 200:
        return {"status": shown.status_code, "text": shown.content.decode()}
    form = shown.context["form"]
    given = {name: str(form[name].value() or "") for name in form.fields}
    given |= {"mass": "1.25 kg", "why": "For the wall, " + "y" * 100}
    answer = client.post(address, given)
    return {"status": answer.status_code, "text": answer.content.decode()}


def _import_clients() -> str:
    with tempfile.NamedTemporaryFile("w", suffix=".csv", encoding="utf-8") as file:
        file.write("name,remarks\n")
        file.writelines(f"Client {number},{'z' * 300}\n" for number in range(1500))
        file.flush()
        try:
            call_command("import_clients", file.name)
        except CommandError as fault:
            return str(fault)
    return "entered"


def _back_up() -> dict[str, Any]:
    """Try twice: as it is, and as if the disk had filled only after room was looked for."""
    said = []
    asked = room.refuse_without
    for look in (asked, lambda needed, folder: None):
        room.refuse_without = look
        try:
            making.make(prove=prove)
        except StudioError as fault:
            said.append(str(fault))
        finally:
            room.refuse_without = asked
    left = []
    with suppress(FileNotFoundError):
        left = os.listdir(making.usual_folder())
    return {"said": said, "left": left}


def look_round() -> dict[str, Any]:
    """Read pages and post one, in a folder that may take nothing; tell what came back."""
    from django.contrib.sessions.models import Session

    setup_test_environment()
    client = Browser()
    client.raise_request_exception = False
    try:
        client.cookies[settings.SESSION_COOKIE_NAME] = Session.objects.first().session_key
        lot = Lot.objects.get()
    except OperationalError as fault:
        answers = {"/": client.get("/"), "post": client.post("/log-in/", {"username": "ida"})}
        return {
            "said": str(fault),
            **{name: [it.status_code, it.content.decode()] for name, it in answers.items()},
        }
    told = {"today": client.get(reverse("today")).status_code, "said": ""}
    return {**told, "page": _page_of_a_lot(client, lot)}
