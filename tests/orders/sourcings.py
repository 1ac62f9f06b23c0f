"""Small buying problems for tests, and what is read off their answers."""

from orders.calc.buying import plan
from orders.calc.plan import from_json
from tests.orders.plans import plan as snapshot_of

KG = 1_000_000


def source(ref="S", lead=0, **changes):
    return {"ref": ref, "lead_days": lead, **changes}


def offer(ref="O", fibre="linter", kg=1, *breaks, at="S", **changes):
    return {
        "ref": ref,
        "source": at,
        "fibre": fibre,
        "pack_usable_mg": int(kg * KG),
        "breaks": [list(step) for step in breaks or [(1, 100)]],
        **changes,
    }


def wish(on, kg, fibre="linter"):
    day = f"2027-{on}" if isinstance(on, str) else f"2027-03-{on:02d}"
    return {"fibre": fibre, "on": day, "mg": int(kg * KG)}


def given(sources=(), offers=(), demand=(), *, lots=(), commissions=(), horizon=91, **changes):
    sourcing = {"horizon_days": horizon, "sources": list(sources), "offers": list(offers)}
    top = {key: changes.pop(key) for key in ("yields", "today") if key in changes}
    if demand is not None:
        sourcing["demand"] = list(demand)
    return from_json(snapshot_of(lots, commissions, sourcing={**sourcing, **changes}, **top))


def planned(*args, **kwargs):
    return plan(given(*args, **kwargs))


def bought(answer):
    return [
        (order.order_on.isoformat()[5:], line.offer, line.packs)
        for order in answer.purchases
        for line in order.lines
    ]


def stands(answer, fibre="linter"):
    flag = answer.of(fibre)
    dates = (flag.short_on, flag.order_by, flag.earliest)
    return flag.state, *(day and day.isoformat()[5:] for day in dates)
