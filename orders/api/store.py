"""The store for other programs: how each fibre stands, and the lots with fibre left in parts."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

from django.db.models import QuerySet
from django.http import Http404

from fibres import offshelf, queries
from fibres.models import Lot
from fibres.standing import Standing, standings
from orders import services
from studio import roles

# Lots in one answer.
PART = 500
REF = re.compile(r"[-a-zA-Z0-9_]{1,16}")


def read(user: Any, today: date, *, after: str | None = None) -> dict[str, Any]:
    """Return fibres and the first lots, or the lots that follow the one that is named.

    The fibres stand in the first part alone, for they take a look at every promise.
    """
    rows = queries.lots_for(user).filter(oven_dry_mg__gt=0).order_by("pk")
    if after is not None:
        rows = rows.filter(pk__gt=_key_of(after))
    lots = list(rows[: PART + 1])
    part, more = lots[:PART], len(lots) > PART
    plain: dict[str, Any] = {"today": today.isoformat()}
    if after is None:
        plain["fibres"] = [_fibre(one) for one in _standings(today)]
    plain["lots"] = _lots(part, sees_money=roles.can(user, "money"))
    plain["next"] = f"?after={part[-1].ref}" if more else None
    return plain


def _key_of(ref: str) -> int:
    rows: QuerySet[Lot] = Lot.objects.all()
    found = None
    if REF.fullmatch(ref):
        found = rows.filter(ref__iexact=ref).values_list("pk", flat=True).first()
    if found is None:
        raise Http404(
            f"after: no lot is called {ref[:16]!r}. Give the reference of the last lot of the "
            "part before, as “next” names it, or leave it out to begin."
        )
    return int(found)


def _standings(today: date) -> list[Standing]:
    promised = services.promised_by_fibre(today)
    return standings(
        queries.fibres_in_store(),
        {pk: one.promised_mg for pk, one in promised.items()},
        {pk: one.short_from for pk, one in promised.items() if one.short_from is not None},
        queries.on_its_way_by_fibre(),
        offshelf.weighed_out_by_fibre(),
    )


def _fibre(one: Standing) -> dict[str, Any]:
    return {
        "fibre": one.name,
        "state": one.fibre.state,
        "on_hand_oven_dry_mg": one.on_hand_mg,
        "at_the_vat_oven_dry_mg": one.at_the_vat_mg,
        "promised_oven_dry_mg": one.promised_mg,
        "free_oven_dry_mg": one.free_mg,
        "on_its_way_oven_dry_mg": one.on_its_way_mg,
        "minimum_oven_dry_mg": one.minimum_mg,
        "short_from": one.short_from.isoformat() if one.short_from else None,
        "stands": one.mark[0],
    }


def _lots(lots: list[Lot], *, sees_money: bool) -> list[dict[str, Any]]:
    out = offshelf.weighed_out([lot.pk for lot in lots])
    return [
        {
            "ref": lot.ref,
            "fibre": lot.fibre.name,
            "source": lot.source_name,  # type: ignore[attr-defined]
            "place": lot.place,
            "received_on": lot.received_on.isoformat(),
            "keep_until": lot.keep_until.isoformat() if lot.keep_until else None,
            "received_as_is_mg": lot.as_is_mg,
            "received_oven_dry_mg": lot.received_oven_dry_mg,
            "on_hand_oven_dry_mg": lot.oven_dry_mg,
            "at_the_vat_oven_dry_mg": sum(out.get(lot.pk, {}).values()),
            "moisture": str(lot.moisture),
            "preparation_yield": str(lot.yield_now),
            **({"paid_minor": lot.paid_minor} if sees_money else {}),
        }
        for lot in lots
    ]
