"""The ``sourcing`` part of a snapshot: read from parsed JSON, and written back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from orders.calc._planjson.reader import ABSENT, LARGEST_COUNT, Reader, said
from orders.calc.planrows import BREAKS_ARE, Demand, PackOffer, SourceTerms, Sourcing

LONGEST_HORIZON, LONGEST_LEAD = 3660, 3660
_KEYS = {
    "horizon_days", "minimum_mg", "holding_minor_per_kg_day", "demand", "sources", "offers",
}  # fmt: skip
_SOURCE_KEYS = {
    "ref", "lead_days", "freight_minor", "order_minimum_minor", "free_freight_from_minor",
    "season",
}  # fmt: skip
_OFFER_KEYS = {
    "ref", "source", "fibre", "pack_usable_mg", "least_packs", "breaks", "breaks_are",
    "valid_from", "valid_to",
}  # fmt: skip
_LEAP_YEAR = 2024


def read_sourcing(read: Reader, value: Any, path: str) -> Sourcing | None:
    """Read what buying needs; None stands for a snapshot without it."""
    if value is None:
        return None
    row = read.mapping(value, path, _KEYS)
    if not isinstance(value, dict):
        return None
    sources = _rows(read, row, path, "sources", _source)
    offers = _rows(read, row, path, "offers", _offer)
    read.twice([source.ref for source in sources], f"{path}.sources")
    read.twice([offer.ref for offer in offers], f"{path}.offers")
    known = {source.ref for source in sources}
    for n, offer in enumerate(offers):
        if offer.source and offer.source not in known:
            read.fault(f"{path}.offers[{n}].source", f"“{offer.source}” is not among the sources.")
    demand = row.get("demand")
    return Sourcing(
        horizon_days=read.need_of(row, path, "horizon_days", _horizon(read)) or 1,
        sources=sources,
        offers=offers,
        minimum_mg=read.by_fibre(row.get("minimum_mg", {}), f"{path}.minimum_mg", read.milligrams),
        holding_minor_per_kg_day=read.by_fibre(
            row.get("holding_minor_per_kg_day", {}),
            f"{path}.holding_minor_per_kg_day",
            _rate(read),
        ),
        demand=None if demand is None else _rows(read, row, path, "demand", _demand),
    )


def _rows(
    read: Reader, row: dict[str, Any], path: str, key: str, of: Callable[..., Any]
) -> tuple[Any, ...]:
    values = read.items(row.get(key, []), f"{path}.{key}")
    return tuple(of(read, value, f"{path}.{key}[{n}]") for n, value in enumerate(values))


def _horizon(read: Reader) -> Callable[[Any, str], int]:
    return lambda value, path: read.whole(value, path, least=1, most=LONGEST_HORIZON, unit="days")


def _rate(read: Reader) -> Callable[[Any, str], Decimal]:
    def rate(value: Any, path: str) -> Decimal:
        try:
            if isinstance(value, str) and len(value) <= 30:
                number = Decimal(value)
                if number.is_finite() and 0 <= number <= LARGEST_COUNT:
                    return number
        except InvalidOperation:
            pass
        read.fault(path, f'must be a number as text, "0" to "{LARGEST_COUNT}", got {said(value)}.')
        return Decimal(0)

    return rate


def _day_or_none(read: Reader, row: dict[str, Any], path: str, key: str) -> date | None:
    value = row.get(key)
    return None if value is None else read.day(value, f"{path}.{key}")


def _demand(read: Reader, value: Any, path: str) -> Demand:
    row = read.mapping(value, path, {"fibre", "on", "mg"})
    return Demand(
        fibre=read.need_of(row, path, "fibre", read.text) or "",
        on=read.need_of(row, path, "on", read.day) or date.min,
        mg=read.need_of(row, path, "mg", read.milligrams) or 0,
    )


def _source(read: Reader, value: Any, path: str) -> SourceTerms:
    row = read.mapping(value, path, _SOURCE_KEYS)
    free = row.get("free_freight_from_minor")
    return SourceTerms(
        ref=read.need_of(row, path, "ref", read.text) or "",
        lead_days=read.need_of(
            row,
            path,
            "lead_days",
            lambda given, at: read.whole(given, at, most=LONGEST_LEAD, unit="days"),
        )
        or 0,
        freight=_freight(read, row.get("freight_minor", 0), f"{path}.freight_minor"),
        order_minimum_minor=read.money(
            row.get("order_minimum_minor", 0), f"{path}.order_minimum_minor"
        ),
        free_freight_from_minor=(
            None if free is None else read.money(free, f"{path}.free_freight_from_minor")
        ),
        season=_season(read, row.get("season"), f"{path}.season"),
    )


def _pair(read: Reader, value: Any, path: str, of: str) -> list[Any]:
    if isinstance(value, list) and len(value) == 2:
        return value
    read.fault(path, f"must be a list of two, {of}, got {said(value)}.")
    return [ABSENT, ABSENT]


def _freight(read: Reader, value: Any, path: str) -> tuple[tuple[date, int], ...]:
    if not isinstance(value, list):
        return ((date.min, read.money(value, path)),)
    if not value:
        read.fault(path, "must hold at least one [date, price].")
    steps: list[tuple[date, int]] = []
    for n, given in enumerate(value):
        on, minor = _pair(read, given, f"{path}[{n}]", "the date and the price from it on")
        if on is ABSENT:
            continue
        day = read.day(on, f"{path}[{n}][0]")
        if steps and day <= steps[-1][0]:
            read.fault(f"{path}[{n}][0]", "must be later than the date before it.")
        steps.append((day, read.money(minor, f"{path}[{n}][1]")))
    return tuple(steps)


def _season(read: Reader, value: Any, path: str) -> tuple[str, str] | None:
    if value is None:
        return None
    first, last = _pair(read, value, path, "the first and the last month-day")
    if first is ABSENT:
        return None
    return _month_day(read, first, f"{path}[0]"), _month_day(read, last, f"{path}[1]")


def _month_day(read: Reader, value: Any, path: str) -> str:
    try:
        if isinstance(value, str) and len(value) == len("02-01"):
            date.fromisoformat(f"{_LEAP_YEAR}-{value}")
            return value
    except ValueError:
        pass
    read.fault(path, f"must be a month and day such as 02-01, got {said(value)}.")
    return "01-01"


def _offer(read: Reader, value: Any, path: str) -> PackOffer:
    row = read.mapping(value, path, _OFFER_KEYS)
    kind = row.get("breaks_are", BREAKS_ARE[0])
    if kind not in BREAKS_ARE:
        read.fault(
            f"{path}.breaks_are", f"must be one of {', '.join(BREAKS_ARE)}, got {said(kind)}."
        )
    least_packs = read.positive(row.get("least_packs", 1), f"{path}.least_packs")
    valid_from = _day_or_none(read, row, path, "valid_from")
    valid_to = _day_or_none(read, row, path, "valid_to")
    if valid_from and valid_to and valid_to < valid_from:
        read.fault(f"{path}.valid_to", f"must not lie before valid_from {valid_from}.")
    return PackOffer(
        ref=read.need_of(row, path, "ref", read.text) or "",
        source=read.need_of(row, path, "source", read.text) or "",
        fibre=read.need_of(row, path, "fibre", read.text) or "",
        pack_usable_mg=read.need_of(
            row, path, "pack_usable_mg", lambda given, at: read.whole(given, at, least=1)
        )
        or 1,
        breaks=_breaks(read, row.get("breaks", ABSENT), f"{path}.breaks", least_packs),
        breaks_are=kind if isinstance(kind, str) else BREAKS_ARE[0],
        least_packs=least_packs,
        valid_from=valid_from,
        valid_to=valid_to,
    )


def _breaks(read: Reader, value: Any, path: str, least_packs: int) -> tuple[tuple[int, int], ...]:
    rows = read.items(value, path)
    if isinstance(value, list) and not rows:
        read.fault(path, "must hold at least one [packs, price of a pack].")
    steps: list[tuple[int, int]] = []
    for n, given in enumerate(rows):
        packs, minor = _pair(read, given, f"{path}[{n}]", "a number of packs and their price each")
        if packs is ABSENT:
            continue
        before = len(read.faults)
        number = read.positive(packs, f"{path}[{n}][0]")
        if len(read.faults) == before:
            _check_step(read, number, [step for step, _ in steps], f"{path}[{n}][0]", least_packs)
        steps.append((number, read.money(minor, f"{path}[{n}][1]")))
    return tuple(steps)


def _check_step(read: Reader, number: int, before: list[int], path: str, least_packs: int) -> None:
    if before and number <= before[-1]:
        read.fault(path, f"must be more than the {before[-1]} before it, got {number}.")
    elif not before and number not in (1, least_packs):
        allowed = "1" if least_packs == 1 else f"1 or the least packs, {least_packs}"
        read.fault(path, f"the first break must start at {allowed}, got {number}.")


def sourcing_json(sourcing: Sourcing) -> dict[str, Any]:
    """Return sourcing as plain JSON values, keys as fixed in the schema."""
    return {
        "horizon_days": sourcing.horizon_days,
        "minimum_mg": dict(sorted(sourcing.minimum_mg.items())),
        "holding_minor_per_kg_day": {
            fibre: str(rate) for fibre, rate in sorted(sourcing.holding_minor_per_kg_day.items())
        },
        "demand": None if sourcing.demand is None else [_demand_json(d) for d in sourcing.demand],
        "sources": [_source_json(source) for source in sourcing.sources],
        "offers": [_offer_json(offer) for offer in sourcing.offers],
    }


def _demand_json(demand: Demand) -> dict[str, Any]:
    return {"fibre": demand.fibre, "on": demand.on.isoformat(), "mg": demand.mg}


def _source_json(source: SourceTerms) -> dict[str, Any]:
    always = len(source.freight) == 1 and source.freight[0][0] == date.min
    return {
        "ref": source.ref,
        "lead_days": source.lead_days,
        "freight_minor": (
            source.freight[0][1]
            if always
            else [[day.isoformat(), minor] for day, minor in source.freight]
        ),
        "order_minimum_minor": source.order_minimum_minor,
        "free_freight_from_minor": source.free_freight_from_minor,
        "season": None if source.season is None else list(source.season),
    }


def _offer_json(offer: PackOffer) -> dict[str, Any]:
    return {
        "ref": offer.ref,
        "source": offer.source,
        "fibre": offer.fibre,
        "pack_usable_mg": offer.pack_usable_mg,
        "least_packs": offer.least_packs,
        "breaks": [list(step) for step in offer.breaks],
        "breaks_are": offer.breaks_are,
        "valid_from": offer.valid_from.isoformat() if offer.valid_from else None,
        "valid_to": offer.valid_to.isoformat() if offer.valid_to else None,
    }
