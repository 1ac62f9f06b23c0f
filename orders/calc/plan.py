"""The snapshot as JSON: written, and read back with every fault found at once.

Masses are integers in milligrams of usable fibre unless the name says otherwise, money is
integers in minor units, shares are Decimals from 0 to 1. What cannot be planned on is refused
with the path of every fault at once.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from orders.calc._planjson.reader import ABSENT, LARGEST_COUNT, LONGEST_REASON, Reader, said
from orders.calc._planjson.sourcing import read_sourcing
from orders.calc._planjson.writer import VERSION, to_json
from orders.calc.planrows import (
    AIMS,
    ONE,
    AtVat,
    Demand,
    PackOffer,
    Part,
    PlanLot,
    Promise,
    Question,
    Snapshot,
    SourceTerms,
    Sourcing,
)
from studio.errors import SnapshotError

__all__ = [
    "AIMS",
    "Demand",
    "PackOffer",
    "Part",
    "PlanLot",
    "Promise",
    "Question",
    "Snapshot",
    "SourceTerms",
    "Sourcing",
    "from_json",
    "from_text",
    "to_json",
]


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


_LOT_KEYS = {
    "ref", "fibre", "usable_mg", "oven_dry_mg", "as_is_mg", "from", "until",
    "cost_minor_per_kg", "marks", "spread",
}  # fmt: skip
_NEED_KEYS = {"due", "pull_mg", "sheets_per_pull", "good_share", "furnish", "excludes"}
_PROMISE_KEYS = _NEED_KEYS | {
    "ref", "priority", "wanted", "need_mg", "safe_need_mg", "only_lots", "all_or_nothing",
    "needed_on", "learned", "weighed_sheets", "at_vat",
    "making_days",
}  # fmt: skip
_TOP_KEYS = {
    "halfstuff_snapshot", "today", "currency", "aims", "lots", "commissions", "question",
    "yields", "yield_spread", "sourcing", "left_out",
}  # fmt: skip


class _Reader(Reader):
    """Reads a snapshot; sourcing has a reader of its own."""

    def snapshot(self, plain: Any) -> Snapshot | None:
        top = self.mapping(plain, "$", _TOP_KEYS)
        if not isinstance(plain, dict):
            return None
        if top.get("halfstuff_snapshot") != VERSION:
            self.fault("halfstuff_snapshot", f"must be {VERSION}.")
        aims = top.get("aims", AIMS[0])
        if aims not in AIMS:
            self.fault("aims", f"must be one of {', '.join(AIMS)}, got {said(aims)}.")
        lots = [
            self.lot(row, f"lots[{n}]")
            for n, row in enumerate(self.items(top.get("lots", ABSENT), "lots"))
        ]
        promises = [
            self.promise(row, f"commissions[{n}]")
            for n, row in enumerate(self.items(top.get("commissions", ABSENT), "commissions"))
        ]
        left_out = [
            self.left_out(row, f"left_out[{n}]")
            for n, row in enumerate(self.items(top.get("left_out", []), "left_out"))
        ]
        self.twice([lot.ref for lot in lots], "lots")
        self.twice([promise.ref for promise in promises], "commissions")
        self.twice([ref for ref, _ in left_out], "left_out")
        question = top.get("question")
        return Snapshot(
            today=self.day(top.get("today"), "today"),
            currency=self.text(top.get("currency"), "currency"),
            lots=tuple(lots),
            commissions=tuple(promises),
            aims=aims if isinstance(aims, str) else AIMS[0],
            question=None if question is None else self.question(question, "question"),
            yields=self.by_fibre(top.get("yields", {}), "yields", self.share_above_zero),
            yield_spread=self.by_fibre(top.get("yield_spread", {}), "yield_spread", self.share),
            sourcing=read_sourcing(self, top.get("sourcing"), "sourcing"),
            left_out=tuple(left_out),
        )

    def left_out(self, value: Any, path: str) -> tuple[str, str]:
        row = self.mapping(value, path, {"ref", "why"})
        reason = partial(self.text, most=LONGEST_REASON)
        return (
            self.need_of(row, path, "ref", self.text) or "",
            self.need_of(row, path, "why", reason) or "",
        )

    def lot(self, value: Any, path: str) -> PlanLot:
        row = self.mapping(value, path, _LOT_KEYS)
        usable = self.need_of(row, path, "usable_mg", self.milligrams) or 0
        return PlanLot(
            ref=self.need_of(row, path, "ref", self.text) or "",
            fibre=self.need_of(row, path, "fibre", self.text) or "",
            usable_mg=usable,
            oven_dry_mg=self.milligrams(row.get("oven_dry_mg", usable), f"{path}.oven_dry_mg"),
            as_is_mg=self.milligrams(row.get("as_is_mg", usable), f"{path}.as_is_mg"),
            usable_from=self.need_of(row, path, "from", self.day) or date.min,
            until=self.unless_null(row, path, "until", self.day),
            cost_minor_per_kg=self.money(
                row.get("cost_minor_per_kg", 0), f"{path}.cost_minor_per_kg"
            ),
            marks=self.names(row.get("marks", []), f"{path}.marks"),
            spread=self.unless_null(row, path, "spread", self.share),
        )

    def unless_null(
        self, row: dict[str, Any], path: str, key: str, read: Callable[[Any, str], Any]
    ) -> Any:
        value = row.get(key)
        return None if value is None else read(value, f"{path}.{key}")

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
        fibres = self.items(row.get("fibres", ABSENT), f"{path}.fibres")
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

    def days(self, value: Any, path: str) -> int:
        return self.whole(value, path, most=LARGEST_COUNT, unit="days")

    def pull(self, value: Any, path: str) -> int:
        return self.whole(value, path, least=1, unit="milligrams")

    def at_vat(self, value: Any, path: str) -> AtVat:
        row = self.mapping(value, path, {"pull_mg", "lying_mg", "extra_mg"})
        lying = self.items(row.get("lying_mg", ABSENT), f"{path}.lying_mg")
        return AtVat(
            pull_mg=self.need_of(row, path, "pull_mg", self.pull) or 1,
            lying_mg=tuple(
                self.milligrams(mass, f"{path}.lying_mg[{n}]") for n, mass in enumerate(lying)
            ),
            extra_mg=self.milligrams(row.get("extra_mg", 0), f"{path}.extra_mg"),
        )

    def promise(self, value: Any, path: str) -> Promise:
        row = self.mapping(value, path, _PROMISE_KEYS)
        need = self.need_of(row, path, "need_mg", self.milligrams) or 0
        safe = self.milligrams(row.get("safe_need_mg", need), f"{path}.safe_need_mg")
        if safe < need:
            self.fault(f"{path}.safe_need_mg", f"must be need_mg {need} or more, got {safe}.")
        wanted = self.need_of(row, path, "wanted", self.positive) or 1
        needs = self.needs(row, path)
        vat = self.unless_null(row, path, "at_vat", self.at_vat)
        if vat and len(vat.lying_mg) != len(needs["furnish"]):
            self.fault(
                f"{path}.at_vat.lying_mg",
                f"must name a mass for each of {len(needs['furnish'])} lines of the furnish, "
                f"got {len(vat.lying_mg)}.",
            )
        return Promise(
            ref=self.need_of(row, path, "ref", self.text) or "",
            priority=self.whole(row.get("priority", 1), f"{path}.priority", most=LARGEST_COUNT),
            wanted=wanted,
            need_mg=need,
            safe_need_mg=safe,
            only_lots=self.unless_null(row, path, "only_lots", self.names),
            all_or_nothing=self.flag(row.get("all_or_nothing", False), f"{path}.all_or_nothing"),
            needed_on=self.unless_null(row, path, "needed_on", self.day),
            learned=self.unless_null(row, path, "learned", self.beta),
            weighed_sheets=self.whole(
                row.get("weighed_sheets", 0), f"{path}.weighed_sheets", most=wanted
            ),
            at_vat=vat,
            making_days=self.unless_null(row, path, "making_days", self.days),
            **needs,
        )
