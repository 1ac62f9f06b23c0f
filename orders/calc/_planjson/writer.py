"""The snapshot written as plain JSON values; :mod:`orders.calc.plan` reads them back."""

from __future__ import annotations

from typing import Any

from orders.calc._planjson.sourcing import sourcing_json
from orders.calc.planrows import AtVat, PlanLot, Promise, Question, Snapshot

VERSION = 1


def to_json(snapshot: Snapshot) -> dict[str, Any]:
    """Return the snapshot as plain JSON values, keys as fixed in the schema."""
    plain: dict[str, Any] = {
        "halfstuff_snapshot": VERSION,
        "today": snapshot.today.isoformat(),
        "currency": snapshot.currency,
        "aims": snapshot.aims,
        "lots": [_lot_json(lot) for lot in snapshot.lots],
        "commissions": [_promise_json(promise) for promise in snapshot.commissions],
        "yields": {fibre: str(share) for fibre, share in sorted(snapshot.yields.items())},
    }
    if snapshot.question is not None:
        plain["question"] = _need_json(snapshot.question)
    if snapshot.yield_spread:
        plain["yield_spread"] = {
            fibre: str(share) for fibre, share in sorted(snapshot.yield_spread.items())
        }
    if snapshot.sourcing is not None:
        plain["sourcing"] = sourcing_json(snapshot.sourcing)
    if snapshot.left_out:
        plain["left_out"] = [{"ref": ref, "why": why} for ref, why in snapshot.left_out]
    return plain


def _lot_json(lot: PlanLot) -> dict[str, Any]:
    return {
        "ref": lot.ref,
        "fibre": lot.fibre,
        "usable_mg": lot.usable_mg,
        "oven_dry_mg": lot.oven_dry_mg,
        "as_is_mg": lot.as_is_mg,
        "from": lot.usable_from.isoformat(),
        "until": lot.until.isoformat() if lot.until else None,
        "cost_minor_per_kg": lot.cost_minor_per_kg,
        "marks": sorted(lot.marks),
        "spread": None if lot.spread is None else str(lot.spread),
    }


def _need_json(need: Promise | Question) -> dict[str, Any]:
    return {
        "due": need.due.isoformat(),
        "pull_mg": need.pull_mg,
        "sheets_per_pull": need.sheets_per_pull,
        "good_share": str(need.good_share),
        "furnish": [
            {
                "fibres": list(part.fibres),
                "least": str(part.least),
                "target": str(part.target),
                "most": str(part.most),
            }
            for part in need.furnish
        ],
        "excludes": sorted(need.excludes),
    }


def _vat_json(vat: AtVat) -> dict[str, Any]:
    return {"pull_mg": vat.pull_mg, "lying_mg": list(vat.lying_mg), "extra_mg": vat.extra_mg}


def _promise_json(promise: Promise) -> dict[str, Any]:
    learned = promise.learned
    return {
        "ref": promise.ref,
        "priority": promise.priority,
        "wanted": promise.wanted,
        "need_mg": promise.need_mg,
        "safe_need_mg": promise.safe_need_mg,
        **_need_json(promise),
        "only_lots": None if promise.only_lots is None else sorted(promise.only_lots),
        "all_or_nothing": promise.all_or_nothing,
        "needed_on": promise.needed_on.isoformat() if promise.needed_on else None,
        **({"learned": [f"{parameter:f}" for parameter in learned]} if learned else {}),
        **({"weighed_sheets": promise.weighed_sheets} if promise.weighed_sheets else {}),
        **({"at_vat": _vat_json(promise.at_vat)} if promise.at_vat else {}),
        **({} if promise.making_days is None else {"making_days": promise.making_days}),
    }
