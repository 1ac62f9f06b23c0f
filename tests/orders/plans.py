"""Snapshots for tests, as plain JSON; a test names only what it is about."""

from orders.calc.cover import allocate
from orders.calc.plan import from_json
from orders.calc.remedies import ways_out

DAY = "2027-03-01"


def lot(ref="L1", fibre="linter", usable=1000, **changes):
    return {"ref": ref, "fibre": fibre, "usable_mg": usable, "from": "2027-01-01", **changes}


def part(*fibres, least="1", target="1", most="1"):
    return {"fibres": list(fibres or ["linter"]), "least": least, "target": target, "most": most}


def share(fibre, of):
    return part(fibre, least=of, target=of, most=of)


def promise(ref="C1", need=1000, **changes):
    return {
        "ref": ref,
        "due": "2027-03-06",
        "wanted": 10,
        "need_mg": need,
        "pull_mg": 100,
        "furnish": [part()],
        **changes,
    }


def plan(lots=(), commissions=(), **changes):
    return {
        "halfstuff_snapshot": 1,
        "today": DAY,
        "currency": "GBP",
        "lots": list(lots),
        "commissions": list(commissions),
        **changes,
    }


def answer(lots, commissions, **changes):
    return allocate(from_json(plan(lots, commissions, **changes)))


def ways(ref, lots, commissions, *, with_prices=True, **changes):
    snapshot = from_json(plan(lots, commissions, **changes))
    return ways_out(snapshot, allocate(snapshot), ref, with_prices=with_prices)


def one(kind, found):
    (way,) = [way for way in found if isinstance(way, kind)]
    return way
