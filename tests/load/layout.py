"""The studio that many people use at once: ``python -m tests.load.layout PEOPLE``.

It prints one line of JSON: how to sign in, and what there is to look at and to change.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

import django

EXTENT = {"lots": 300, "commissions": 40, "fibres": 8, "days": 120}
PASSWORD = "a long word for the vat 7"
VATS, STORES = 10, 10
ROLES = ("owner", "hand", "hand", "hand", "viewer")


def lay_out(people: int) -> dict[str, Any]:
    """Fill the database, and let so many people in."""
    from django.core.management import call_command
    from django.utils import timezone

    from fibres.models import Lot
    from orders.models import Commission
    from tests.bench.studio import Extent, fill
    from tests.builders import KG, make_fibre, make_lot
    from tests.orders.vatdays import making_and_lot

    call_command("migrate", verbosity=0)
    fill(Extent(**EXTENT), timezone.localdate())
    looked_at = list(Lot.objects.order_by("pk").values_list("ref", flat=True))
    taken_from = make_fibre(name="Fibre in large bales")
    scrap = make_fibre(name="Office paper that was given", is_scrap=True, code="OG")
    return {
        **_let_in(people),
        "lots": looked_at,
        "commissions": list(Commission.objects.values_list("ref", flat=True)),
        "bales": [make_lot(taken_from, as_is_mg=500 * KG).ref for _ in range(STORES)],
        "scrap": scrap.pk,
        "makings": [making_and_lot()[0].ref for _ in range(VATS)],
    }


def _let_in(people: int) -> dict[str, Any]:
    """Make accounts that sign in by a password, and a token for the display on the wall."""
    from django.contrib.auth import get_user_model
    from django.contrib.auth.hashers import make_password

    from studio import tokens
    from tests.builders import make_user

    # Hashed once: making the password of everybody slow is the work of signing in.
    hashed = make_password(PASSWORD)
    users = [
        make_user(ROLES[number % len(ROLES)], name=f"person{number:02d}")
        for number in range(people)
    ]
    get_user_model().objects.update(password=hashed)
    return {
        "people": [(user.username, user.groups.get().name) for user in users],
        "password": PASSWORD,
        "token": tokens.make(users[0], "Display on the wall"),
    }


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    django.setup()
    sys.stdout.write(json.dumps(lay_out(int(sys.argv[1]))) + "\n")


if __name__ == "__main__":
    main()
