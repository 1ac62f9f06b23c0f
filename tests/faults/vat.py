"""What the processes of the fault tests do at the vat: several people at one making."""

from __future__ import annotations

import random
import uuid
from typing import Any

from django.core.management import call_command
from django.db import OperationalError

from orders.makings import log
from orders.makings.finish import finish
from orders.models import Making
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from tests.builders import make_studio
from tests.orders.vatdays import logged


def at_the_vat() -> dict[str, Any]:
    """Make the database, and a making that could be finished at once, with nothing counted."""
    call_command("migrate", verbosity=0)
    make_studio()
    return {"making": logged(good=0, retree=0).ref}


def tap(making: str, times: int, seed: int) -> dict[str, int]:
    """Tap again and again, each tap sent twice; count what was taken."""
    dice = random.Random(seed)
    found = dict.fromkeys((*log.COUNTED, "repeated", "refused", "locked"), 0)
    held = Making.objects.get(ref=making)
    for _ in range(times):
        what, key = dice.choice(log.COUNTED), uuid.uuid4()
        for turn in (what, "repeated"):
            try:
                log.tap(held, what, post=1, by=None, key=key)
            except StudioError:
                found["refused"] += 1
            except OperationalError:
                found["locked"] += 1
            except AlreadyEnteredError:
                found["repeated"] += 1
            else:
                found[turn] += 1
    return found


def tap_and_finish(making: str, times: int, seed: int) -> dict[str, int]:
    """Tap, finish the making in between, and go on tapping."""
    found = tap(making, times, seed)
    try:
        finish(Making.objects.get(ref=making), by=None, accept_over=True)
    except StudioError:
        found["finished"] = 0
    else:
        found["finished"] = 1
    for name, number in tap(making, times, seed + 1000).items():
        found[name] += number
    return found
