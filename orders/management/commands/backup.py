"""Make a copy of the database while the studio is in use: run it daily, and before any change.

The copy is looked over, and every balance in it proved, before it gets its name. Older copies go
by a rule, and nothing else in the folder is touched. The file of the signing key is not in it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from orders.proving import prove
from studio.commands import StoreCommand, waiting
from studio.copies import making, naming
from studio.copies.proof import some_of
from studio.errors import StudioError
from studio.files.limits import megabytes


class Command(StoreCommand):
    """Copy, prove, keep the right ones."""

    help = "Make a proved copy of the database while it is in use, and keep the right older ones."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take where to."""
        parser.add_argument(
            "--to", help="a folder that is there, such as one on another disk; else “backups”"
        )
        parser.add_argument("--dry-run", action="store_true", help="say what it would do")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make the copy and say where it is and what is in it."""
        to = Path(options["to"]) if options["to"] else None
        try:
            if options["dry_run"]:
                self._print(plan_as_json(making.plan(to)), planned, as_json=options["json"])
                return
            with waiting(self.stderr, "Copying"):
                made = making.make(to, prove=prove)
        except StudioError as refusal:
            raise CommandError(str(refusal)) from refusal
        self._print(made_as_json(made), worded, as_json=options["json"])
        if made.faults:
            raise CommandError(
                f"The copy is true, and the ledger in it has faults: {some_of(made.faults)}. No "
                "older copy was removed. “manage.py audit” names every fault."
            )

    def _print(self, told: dict[str, Any], words: Any, *, as_json: bool) -> None:
        if as_json:
            self.stdout.write(json.dumps(told, ensure_ascii=False, indent=2))
        else:
            self.stdout.write(words(told))


def plan_as_json(plan: making.Plan) -> dict[str, Any]:
    """Return what a copy would be, as plain values."""
    return {
        "dry_run": True,
        "of": plan.source,
        "file": str(plan.path),
        "size_bytes": plan.size,
        "would_remove": list(plan.would_go),
    }


def made_as_json(made: making.Made) -> dict[str, Any]:
    """Return what a copy is, as plain values."""
    return {
        "of": made.source,
        "file": str(made.path),
        "size_bytes": made.size,
        "rows": made.count,
        "tables": len(made.rows),
        "sha256": made.digest,
        "seal": made.proof.seal if made.proof else "",
        "proved": made.proof.said if made.proof else None,
        "faults": list(made.faults),
        "removed": list(made.removed),
    }


def planned(told: dict[str, Any]) -> str:
    """Word what a copy would be."""
    lines = [f"A copy of {told['of']}, about {megabytes(told['size_bytes'])}, would be made:"]
    lines.append(f"  {told['file']}")
    lines += _gone(told["would_remove"], "would go")
    return "\n".join([*lines, "Nothing was written."])


def worded(told: dict[str, Any]) -> str:
    """Word what a copy is, as a person reads it."""
    size = megabytes(told["size_bytes"])
    lines = [f"{told['file']}: {size}, {told['rows']:,} rows in {told['tables']} tables."]
    lines.append(f"  of         {told['of']}")
    if told["proved"] is None:
        lines.append(
            "The file is whole. Its ledger is of an earlier release and is proved once it is "
            "brought up to date."
        )
    elif not told["faults"]:
        lines.append(
            f"The file is whole, and every balance in it is the sum of its movements "
            f"({told['proved']})."
        )
    lines.append(f"  sha256     {told['sha256']}")
    if told["seal"]:
        lines.append(f"  last seal  {told['seal']}")
    return "\n".join([*lines, *_gone(told["removed"], "went")])


def _gone(names: list[str], verb: str) -> list[str]:
    if not names:
        return []
    number = "1 older copy" if len(names) == 1 else f"{len(names)} older copies"
    return [f"{number} {verb}, for {naming.RULE} are kept: {', '.join(names)}."]
