"""Fill an empty, migrated database with a large generated studio.

``python -m tests.bench --lots 1000 --commissions 100 --movements 10000 --fibres 10 --days 180``;
``HALFSTUFF_DATA`` names the folder, as it does for every command. Where ``--movements`` is left
out, each lot has the one by which it came.
"""

from __future__ import annotations

import argparse
import os

import django


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    django.setup()
    from django.utils import timezone

    from studio.errors import StudioError
    from tests.bench.studio import Extent, fill

    parser = argparse.ArgumentParser(description="Fill an empty database with a large studio.")
    for name, usual in (("lots", 1000), ("commissions", 100), ("fibres", 10), ("days", 180)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    parser.add_argument("--movements", type=int, default=0)
    asked = parser.parse_args()
    extent = Extent(
        asked.lots, asked.commissions, asked.fibres, asked.days, movements=asked.movements
    )
    try:
        fill(extent, timezone.localdate())
    except StudioError as refusal:
        parser.exit(1, f"{refusal}\n")


if __name__ == "__main__":
    main()
