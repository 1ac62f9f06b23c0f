"""Taking a learned figure over: the figure itself and the row that says so, or neither."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

from django.db import models
from django.urls import reverse

from fibres.models import Fibre, Shrinkage
from orders.learning.figures import Figure, LearnedFigure, learn
from orders.learning.origins import SHEET_FIELDS, makings_in_words
from orders.models import AcceptedFigure, Sheet
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.models import Mould, Studio

CHANGED = (
    "The figures have changed since this page was shown. Look at them below, and take over what "
    "is right now."
)


@acting()
def accept(
    figure: str, slug: str, *, value: str, stands: str, by: Any, key: uuid.UUID | None = None
) -> AcceptedFigure:
    """Put a learned figure in the place of the one that stands, as the page showed both.

    The row is locked first and everything is learned anew, so that of two at once the second is
    told, and nothing is taken over that nobody looked at.
    """
    if key is not None:
        refuse_repeat(key)
    # Yield and retention rest on each other: two taken over at once would count the same twice.
    Studio.objects.select_for_update().filter(pk=1).first()
    row, field = _locked(figure, slug)
    found = learn().find(figure, slug)
    if found is None:
        raise StudioError("No making shows this figure any more.")
    if (value, stands) != (as_kept(found.value), as_kept(found.stands)):
        raise StudioError(CHANGED)
    if found.refusal:
        raise StudioError(found.refusal)
    setattr(row, field, int(found.value) if found.figure == Figure.DRAW else found.value)
    row.full_clean()
    row.save(**({} if row._state.adding else {"update_fields": [field]}))
    return _written(found, by=by, key=key)


def as_kept(number: Decimal | int | None) -> str:
    """Return a figure as it is written in the book, or nothing for none."""
    if number is None:
        return ""
    digits = f"{number:f}"
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


def _written(found: LearnedFigure, *, by: Any, key: uuid.UUID | None) -> AcceptedFigure:
    named = found.figure.label.lower()
    entry = enter(
        "accept figure",
        f"Took over {named} of {found.name}: {as_kept(found.value)}, learned from "
        f"{makings_in_words(found.makings)}",
        page=reverse("learned_figure", args=[found.figure.value, found.slug]),
        key=key,
        by=by,
    )
    accepted = AcceptedFigure(
        figure=found.figure,
        subject=found.subject,
        before=as_kept(found.stands),
        value=as_kept(found.value),
        low=as_kept(found.low),
        high=as_kept(found.high),
        makings=found.makings,
        entry=entry,
    )
    accepted.full_clean()
    accepted.save()
    return accepted


def _locked(figure: str, slug: str) -> tuple[models.Model, str]:
    """Lock the row that a figure stands in; return it with the name of its field."""
    kind, _, rest = slug.partition("-")
    pk, _, drying = rest.partition("-")
    row: models.Model | None = None
    if pk.isascii() and pk.isdigit() and len(pk) < 10:
        row = _row(figure, kind, int(pk), drying)
    if row is None:
        raise StudioError("There is no such figure.")
    fields = {Figure.YIELD: "preparation_yield", Figure.DRAW: "draw_um", **SHEET_FIELDS}
    return row, fields.get(Figure(figure), figure)


def _row(figure: str, kind: str, pk: int, drying: str) -> models.Model | None:
    """Return the row, under a lock; shrinkage that was never set begins at none either way."""
    known: dict[str, tuple[type[models.Model], tuple[str, ...]]] = {
        "fibre": (Fibre, (Figure.YIELD,)),
        "mould": (Mould, (Figure.DRAW,)),
        "sheet": (Sheet, tuple(SHEET_FIELDS)),
    }
    if kind in known and figure in known[kind][1]:
        found: models.Model | None = (
            known[kind][0]._default_manager.select_for_update().filter(pk=pk).first()
        )
        return found
    if kind != "furnish" or figure not in (Figure.SHRINKAGE_ACROSS, Figure.SHRINKAGE_ALONG):
        return None
    rows = Shrinkage.objects.select_for_update().filter(furnish=pk, drying=drying)
    return rows.first() or Shrinkage(
        furnish_id=pk, drying=drying, across=Decimal(0), along=Decimal(0)
    )
