"""What the processes do that send the same sheets."""

from __future__ import annotations

import random
import uuid
from typing import Any

from django.core.management import call_command
from django.db import OperationalError

from orders import sheetsinhand
from orders.models import Commission, Making
from orders.sheetsinhand import ParcelNote, Sending
from studio.errors import StudioError
from tests.builders import day, make_commission, make_finished, make_studio


def lay_out(good: int, wanted: int) -> dict[str, Any]:
    """Make the database, and a making of so many good sheets for a commission of so many."""
    call_command("migrate", verbosity=0)
    make_studio()
    commission = make_commission(good_quantity=wanted)
    return {"commission": commission.ref, "making": make_finished(commission, good=good).ref}


def send_sheets(commission: str, making: str, times: int, seed: int) -> dict[str, int]:
    """Send one sheet or a few again and again; count what became of each try."""
    dice = random.Random(seed)
    found = {"sent": 0, "refused": 0, "locked": 0}
    asked, made = Commission.objects.get(ref=commission), Making.objects.get(ref=making)
    for _ in range(times):
        sheets = dice.randint(1, 3)
        try:
            sheetsinhand.send(
                asked,
                [Sending(made, "good", sheets)],
                ParcelNote(sent_on=day()),
                by=None,
                key=uuid.uuid4(),
            )
        except StudioError:
            found["refused"] += 1
        except OperationalError:
            found["locked"] += 1
        else:
            found["sent"] += sheets
    return found
