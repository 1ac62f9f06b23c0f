"""The snapshot as JSON: written, and read back with every fault found at once.

Masses are integers in milligrams of usable fibre unless the name says otherwise, money is
integers in minor units, shares are Decimals from 0 to 1. What cannot be planned on is refused
with the path of every fault at once.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from decimal import Decimal, InvalidOperation
from functools import partial
from typing import Any

from orders.calc._planjson import VERSION, to_json
from orders.calc.planrows import (
    AIMS,
    ONE,
    Part,
    PlanLot,
    Promise,
    Question,
    Snapshot,
)
from studio.errors import SnapshotError

__all__ = [
    "AIMS",
    "Part",
    "PlanLot",
    "Promise",
    "Question",
    "Snapshot",
    "from_json",
    "from_text",
    "to_json",
]
LONGEST_NAME, LONGEST_REASON = 200, 1000
# Spaces that do not break a line, as in “8 kg”; they are no control characters.
NO_BREAK_SPACES = str.maketrans("\u00a0\u202f", "  ")
LARGEST_MG = 10**15
LARGEST_COUNT = 10**9


def from_text(text: str | bytes) -> Snapshot:
    """Read a snapshot from JSON text; refuse what cannot be planned on, all faults at once."""
    repeated: list[str] = []

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        seen = dict(items)
        if len(seen) < len(items):
            keys = [key for key, _ in items]
            repeated.extend(sorted({key for key in keys if keys.count(key) > 1}))
        return seen

    try:
        if isinstance(text, bytes):
            text = text.decode("utf-8-sig")
        plain = json.loads(text, object_pairs_hook=pairs, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise SnapshotError([("$", f"this is not JSON that can be read: {error}.")]) from None
    if repeated:
        raise SnapshotError([(key, "is given twice in one object. Keep one.") for key in repeated])
    return from_json(plain)


def _refuse_constant(name: str) -> Any:
    message = f"{name} is not a number"
    raise ValueError(message)


def from_json(plain: Any) -> Snapshot:
    """Read a snapshot from parsed JSON; refuse what cannot be planned on, all faults at once."""
    reader = _Reader()
    snapshot = reader.snapshot(plain)
    if reader.faults or snapshot is None:
        raise SnapshotError(reader.faults)
    return snapshot


_ABSENT = object()
_LOT_KEYS = {
    "ref", "fibre", "usable_mg", "oven_dry_mg", "as_is_mg", "from", "until",
    "cost_minor_per_kg", "marks",
}  # fmt: skip
_NEED_KEYS = {"due", "pull_mg", "sheets_per_pull", "good_share", "furnish", "excludes"}
_PROMISE_KEYS = _NEED_KEYS | {
    "ref", "priority", "wanted", "need_mg", "safe_need_mg", "only_lots", "all_or_nothing",
}  # fmt: skip
_TOP_KEYS = {
    "halfstuff_snapshot", "today", "currency", "aims", "lots", "commissions", "question",
    "yields", "sourcing", "left_out",
}  # fmt: skip


class _Reader:
    """Reads parsed JSON, writing down every fault with its path instead of stopping at one."""

    def __init__(self) -> None:
        self.faults: list[tuple[str, str]] = []

    def fault(self, path: str, sentence: str) -> None:
        self.faults.append((path, sentence))

    def mapping(self, value: Any, path: str, allowed: set[str]) -> dict[str, Any]:
        if not isinstance(value, dict):
            self.fault(path, f"must be an object, got {_said(value)}.")
            return {}
        for key in value:
            if key not in allowed:
                self.fault(f"{path}.{key}".removeprefix("$."), "is not a key of the schema.")
        return value

    def items(self, value: Any, path: str) -> list[Any]:
        if isinstance(value, list):
            return value
        self.fault(path, f"must be a list, got {_said(value)}.")
        return []

    def whole(
        self, value: Any, path: str, *, least: int = 0, most: int = LARGEST_MG, unit: str = ""
    ) -> int:
        if isinstance(value, int) and not isinstance(value, bool) and least <= value <= most:
            return value
        of = f" of {unit}" if unit else ""
        self.fault(path, f"must be a whole number{of} from {least} to {most}, got {_said(value)}.")
        return least

    def text(self, value: Any, path: str, *, most: int = LONGEST_NAME) -> str:
        is_text = isinstance(value, str) and 0 < len(value) <= most
        if is_text and value.translate(NO_BREAK_SPACES).isprintable():
            return str(value)
        self.fault(path, f"must be text of 1 to {most} characters, got {_said(value)}.")
        return ""

    def day(self, value: Any, path: str) -> date:
        try:
            if isinstance(value, str) and len(value) == len("2027-03-01"):
                return date.fromisoformat(value)
        except ValueError:
            pass
        self.fault(path, f"must be a date such as 2027-03-01, got {_said(value)}.")
        return date.min

    def share(self, value: Any, path: str) -> Decimal:
        try:
            if isinstance(value, str) and len(value) <= 30:
                share = Decimal(value)
                if share.is_finite() and 0 <= share <= ONE:
                    return share
        except InvalidOperation:
            pass
        self.fault(path, f'must be a share as text, "0" to "1", got {_said(value)}.')
        return Decimal(0)

    def share_above_zero(self, value: Any, path: str) -> Decimal:
        before = len(self.faults)
        share = self.share(value, path)
        if not share and len(self.faults) == before:
            self.fault(path, "must be above 0.")
        return share

    def flag(self, value: Any, path: str) -> bool:
        if isinstance(value, bool):
            return value
        self.fault(path, f"must be true or false, got {_said(value)}.")
        return False

    def names(self, value: Any, path: str) -> frozenset[str]:
        found = [self.text(item, f"{path}[{n}]") for n, item in enumerate(self.items(value, path))]
        return frozenset(found)

    def need_of(self, row: dict[str, Any], path: str, key: str, read: Callable[..., Any]) -> Any:
        if key not in row:
            self.fault(f"{path}.{key}", "is missing.")
            return None
        return read(row[key], f"{path}.{key}")

    def snapshot(self, plain: Any) -> Snapshot | None:
        top = self.mapping(plain, "$", _TOP_KEYS)
        if not isinstance(plain, dict):
            return None
        if top.get("halfstuff_snapshot") != VERSION:
            self.fault("halfstuff_snapshot", f"must be {VERSION}.")
        aims = top.get("aims", AIMS[0])
        if aims not in AIMS:
            self.fault("aims", f"must be one of {', '.join(AIMS)}, got {_said(aims)}.")
        lots = [
            self.lot(row, f"lots[{n}]")
            for n, row in enumerate(self.items(top.get("lots", _ABSENT), "lots"))
        ]
        promises = [
            self.promise(row, f"commissions[{n}]")
            for n, row in enumerate(self.items(top.get("commissions", _ABSENT), "commissions"))
        ]
        left_out = [
            self.left_out(row, f"left_out[{n}]")
            for n, row in enumerate(self.items(top.get("left_out", []), "left_out"))
        ]
        self.twice([lot.ref for lot in lots], "lots")
        self.twice([promise.ref for promise in promises], "commissions")
        self.twice([ref for ref, _ in left_out], "left_out")
        question = top.get("question")
        sourcing = top.get("sourcing")
        if sourcing is not None and not isinstance(sourcing, dict):
            self.fault("sourcing", f"must be an object, got {_said(sourcing)}.")
        return Snapshot(
            today=self.day(top.get("today"), "today"),
            currency=self.text(top.get("currency"), "currency"),
            lots=tuple(lots),
            commissions=tuple(promises),
            aims=aims if isinstance(aims, str) else AIMS[0],
            question=None if question is None else self.question(question, "question"),
            yields=self.yields(top.get("yields") or {}),
            sourcing=sourcing,
            left_out=tuple(left_out),
        )

    def left_out(self, value: Any, path: str) -> tuple[str, str]:
        row = self.mapping(value, path, {"ref", "why"})
        reason = partial(self.text, most=LONGEST_REASON)
        return (
            self.need_of(row, path, "ref", self.text) or "",
            self.need_of(row, path, "why", reason) or "",
        )

    def twice(self, refs: list[str], path: str) -> None:
        seen: set[str] = set()
        for n, ref in enumerate(refs):
            if ref and ref in seen:
                self.fault(f"{path}[{n}].ref", f"“{ref}” is given twice. Refs must differ.")
            seen.add(ref)

    def yields(self, value: Any) -> dict[str, Decimal]:
        if not isinstance(value, dict):
            self.fault("yields", f"must be an object, got {_said(value)}.")
            return {}
        return {
            fibre: self.share_above_zero(share, f"yields.{fibre}")
            for fibre, share in value.items()
        }

    def lot(self, value: Any, path: str) -> PlanLot:
        row = self.mapping(value, path, _LOT_KEYS)
        usable = self.need_of(row, path, "usable_mg", self.milligrams) or 0
        until = row.get("until")
        return PlanLot(
            ref=self.need_of(row, path, "ref", self.text) or "",
            fibre=self.need_of(row, path, "fibre", self.text) or "",
            usable_mg=usable,
            oven_dry_mg=self.milligrams(row.get("oven_dry_mg", usable), f"{path}.oven_dry_mg"),
            as_is_mg=self.milligrams(row.get("as_is_mg", usable), f"{path}.as_is_mg"),
            usable_from=self.need_of(row, path, "from", self.day) or date.min,
            until=None if until is None else self.day(until, f"{path}.until"),
            cost_minor_per_kg=self.whole(
                row.get("cost_minor_per_kg", 0), f"{path}.cost_minor_per_kg", unit="minor units"
            ),
            marks=self.names(row.get("marks", []), f"{path}.marks"),
        )

    def milligrams(self, value: Any, path: str) -> int:
        return self.whole(value, path, unit="milligrams")

    def positive(self, value: Any, path: str) -> int:
        return self.whole(value, path, least=1, most=LARGEST_COUNT)

    def furnish(self, value: Any, path: str) -> tuple[Part, ...]:
        rows = self.items(value, path)
        if isinstance(value, list) and not rows:
            self.fault(path, "must name at least one fibre.")
        before = len(self.faults)
        parts = tuple(self.part(row, f"{path}[{n}]") for n, row in enumerate(rows))
        if parts and len(self.faults) == before:
            self.sums(parts, path)
        return parts

    def sums(self, parts: tuple[Part, ...], path: str) -> None:
        least, most = sum(part.least for part in parts), sum(part.most for part in parts)
        if not least <= ONE <= most:
            self.fault(
                path,
                f"shares cannot add up to 1: the least come to {least} and the most to {most}.",
            )
            return
        target = sum(part.target for part in parts)
        if target != ONE:
            self.fault(path, f"the targets must add up to 1, got {target}.")

    def part(self, value: Any, path: str) -> Part:
        row = self.mapping(value, path, {"fibres", "least", "target", "most"})
        fibres = self.items(row.get("fibres", _ABSENT), f"{path}.fibres")
        if not fibres and isinstance(row.get("fibres"), list):
            self.fault(f"{path}.fibres", "must name at least one fibre.")
        names = tuple(self.text(name, f"{path}.fibres[{n}]") for n, name in enumerate(fibres))
        before = len(self.faults)
        least, target, most = (
            self.need_of(row, path, key, self.share) or Decimal(0)
            for key in ("least", "target", "most")
        )
        if len(self.faults) == before and not least <= target <= most:
            self.fault(
                f"{path}.target",
                f"must lie between least {least} and most {most}, got {target}.",
            )
        return Part(fibres=names, least=least, target=target, most=most)

    def question(self, value: Any, path: str) -> Question:
        row = self.mapping(value, path, _NEED_KEYS)
        return Question(**self.needs(row, path))

    def needs(self, row: dict[str, Any], path: str) -> dict[str, Any]:
        return {
            "due": self.need_of(row, path, "due", self.day) or date.min,
            "pull_mg": self.need_of(row, path, "pull_mg", self.pull) or 1,
            "furnish": self.need_of(row, path, "furnish", self.furnish) or (),
            "sheets_per_pull": self.positive(
                row.get("sheets_per_pull", 1), f"{path}.sheets_per_pull"
            ),
            "good_share": self.share_above_zero(row.get("good_share", "1"), f"{path}.good_share"),
            "excludes": self.names(row.get("excludes", []), f"{path}.excludes"),
        }

    def pull(self, value: Any, path: str) -> int:
        return self.whole(value, path, least=1, unit="milligrams")

    def promise(self, value: Any, path: str) -> Promise:
        row = self.mapping(value, path, _PROMISE_KEYS)
        need = self.need_of(row, path, "need_mg", self.milligrams) or 0
        safe = self.milligrams(row.get("safe_need_mg", need), f"{path}.safe_need_mg")
        if safe < need:
            self.fault(f"{path}.safe_need_mg", f"must be need_mg {need} or more, got {safe}.")
        only = row.get("only_lots")
        return Promise(
            ref=self.need_of(row, path, "ref", self.text) or "",
            priority=self.whole(row.get("priority", 1), f"{path}.priority", most=LARGEST_COUNT),
            wanted=self.need_of(row, path, "wanted", self.positive) or 1,
            need_mg=need,
            safe_need_mg=safe,
            only_lots=None if only is None else self.names(only, f"{path}.only_lots"),
            all_or_nothing=self.flag(row.get("all_or_nothing", False), f"{path}.all_or_nothing"),
            **self.needs(row, path),
        )


def _said(value: Any) -> str:
    if value is _ABSENT:
        return "nothing"
    return repr(value)[:60]
