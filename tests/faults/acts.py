"""What the processes of the fault tests do, each through the doors the pages use."""

from __future__ import annotations

import os
import random
import signal
import sys
import time
import uuid
from dataclasses import dataclass, field
from typing import Any

import waitress
from django.conf import settings
from django.core.management import call_command
from django.core.wsgi import get_wsgi_application
from django.db import OperationalError, connection

from fibres import purchasing
from fibres.models import Lot, Movement, Purchase
from fibres.services import take_out
from studio.errors import NotEnoughError, StudioError
from studio.people import make_owner
from tests.builders import arrived, day, make_lot, make_purchase, make_studio, signed_in
from tests.faults.chaining import (
    bring_in,
    edit_offline,
    fill_and_take_out,
    last_seal,
    move_both,
    two_lots,
)
from tests.faults.copying import copy_under_writers
from tests.faults.correcting import (
    faults_of_the_book,
    makings_that_kept_broke,
    put_right_both_ends,
    put_right_while_counted,
)
from tests.faults.crashing import break_off_under_writers
from tests.faults.migrating import migrate_and_die, migrate_back, upgrade_as_the_disk_fills
from tests.faults.place import Place
from tests.faults.sending import lay_out, send_sheets
from tests.faults.small_disk import fill_disk, look_round
from tests.faults.tamper import tamper
from tests.faults.tearing import take_and_keep_the_log
from tests.faults.vat import at_the_vat, tap, tap_and_finish

__all__ = [
    "at_the_vat",
    "break_off_under_writers",
    "bring_in",
    "copy_under_writers",
    "edit_offline",
    "faults_of_the_book",
    "fill_and_take_out",
    "fill_disk",
    "kill",
    "last_seal",
    "lay_out",
    "look_round",
    "makings_that_kept_broke",
    "migrate_and_die",
    "migrate_back",
    "move_both",
    "order",
    "prepare",
    "put_right_both_ends",
    "put_right_while_counted",
    "receive_packs",
    "send_sheets",
    "serve",
    "take",
    "take_and_keep_the_log",
    "tamper",
    "tap",
    "tap_and_finish",
    "two_lots",
    "upgrade_as_the_disk_fills",
]


def prepare(as_is_mg: int, moisture: str) -> dict[str, Any]:
    """Make the database, one lot, and an owner who is signed in."""
    call_command("migrate", verbosity=0)
    make_studio()
    lot = make_lot(as_is_mg=as_is_mg, moisture=moisture)
    session = signed_in(make_owner("owner", None)).session
    return {"lot": lot.ref, "session": session.session_key}


def order(packs: int, freight_minor: int) -> dict[str, Any]:
    """Make the database, and an order of so many packs."""
    call_command("migrate", verbosity=0)
    make_studio()
    purchase = make_purchase(packs=packs, freight_minor=freight_minor)
    return {"purchase": purchase.ref, "goods_minor": purchase.lines.get().goods_minor}


def receive_packs(purchase: str, times: int, seed: int) -> dict[str, int]:
    """Receive one or two packs of an order again and again; count what became of each try."""
    dice = random.Random(seed)
    found = {"packs": 0, "refused": 0}
    ordered = Purchase.objects.get(ref=purchase)
    for _ in range(times):
        come = arrived(ordered.lines.get(), dice.randint(1, 2))
        try:
            purchasing.receive(ordered, [come], received_on=day(), by=None, key=uuid.uuid4())
        except StudioError:
            found["refused"] += 1
        else:
            found["packs"] += come.packs
    return found


def serve() -> None:
    """Serve the site on a free port of this machine, and say which; until killed."""
    server = waitress.create_server(get_wsgi_application(), host="127.0.0.1", port=0, threads=4)
    sys.stdout.write(f"{server.effective_port}\n")
    sys.stdout.flush()
    server.run()


def take(lot: str, times: int, most_mg: int, seed: int, least_mg: int = 1) -> dict[str, Any]:
    """Take fibre out of one lot again and again; count what became of each try."""
    dice = random.Random(seed)
    found: dict[str, Any] = {"done": 0, "short": 0, "locked": 0, "oven_dry_mg": 0}
    held = Lot.objects.get(ref=lot)
    for _ in range(times):
        try:
            movement = _take(held, dice.randint(least_mg, most_mg), dice, uuid.uuid4())
        except NotEnoughError:
            found["short"] += 1
        except OperationalError:
            found["locked"] += 1
        else:
            found["done"] += 1
            found["oven_dry_mg"] -= movement.oven_dry_mg
    return found


def _take(lot: Lot, as_is_mg: int, dice: random.Random, key: uuid.UUID) -> Movement:
    return take_out(
        lot,
        as_is_mg=as_is_mg,
        kind=dice.choice(Movement.OUT_OF_STORE),
        happened_on=day(),
        why="fault test",
        by=None,
        key=key,
    )


def kill(lot: str, rounds: int, writers: int, seed: int) -> dict[str, Any]:
    """Kill writers in mid-stroke, round after round, and look over the database after each."""
    place = Place(settings.DATA_DIR, os.environ.get("HALFSTUFF_DATABASE_URL", ""))
    dice = random.Random(seed)
    found: dict[str, Any] = {"kills": 0, "acknowledged": 0, "lost": 0, "unsound": []}
    # A child must not share a connection with its parent.
    connection.close()
    for round_number in range(rounds):
        children = [Writer(lot, dice.random()) for _ in range(writers)]
        for child in children:
            child.await_first()
        time.sleep(dice.uniform(0, 0.04))
        for child in children:
            child.kill()
        acknowledged = {key for child in children for key in child.acknowledged()}
        found["kills"] += sum(child.was_killed for child in children)
        found["acknowledged"] += len(acknowledged)
        found["lost"] += len(acknowledged - place.entry_keys())
        found["unsound"] += [f"round {round_number}: {fault}" for fault in place.unsound()]
    return found


@dataclass
class Writer:
    """A forked process that takes fibre out until it is killed; it tells a pipe of each entry."""

    lot: str
    seed: float
    said: bytes = b""
    was_killed: bool = False
    pid: int = field(init=False)
    pipe: int = field(init=False)

    def __post_init__(self) -> None:
        self.pipe, into = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            try:
                _write_for_ever(self.lot, self.seed, into)
            finally:
                os._exit(1)
        os.close(into)

    def await_first(self) -> None:
        self.said = os.read(self.pipe, 4096)

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        _, status = os.waitpid(self.pid, 0)
        self.was_killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL

    def acknowledged(self) -> list[str]:
        while more := os.read(self.pipe, 65536):
            self.said += more
        os.close(self.pipe)
        return self.said.decode().split()


def _write_for_ever(lot: str, seed: float, pipe: int) -> None:
    dice = random.Random(seed)
    held = Lot.objects.get(ref=lot)
    while True:
        key = uuid.uuid4()
        _take(held, dice.randint(1, 1000), dice, key)
        os.write(pipe, f"{key.hex}\n".encode())
        # A breath between entries: SQLite's lock is not fair to who waits for it.
        time.sleep(dice.uniform(0, 0.012))
