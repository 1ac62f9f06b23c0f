"""Issuing a quote: it is reckoned once, frozen with its working, and read from that ever after."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import date
from fractions import Fraction
from typing import Any

from django.utils import timezone

from fibres.models import Addition, Fibre, FurnishPart
from orders import services
from orders.calc.quotation import Carriage, Quotation, Terms
from orders.calc.statement import (
    FROM_FURNISH,
    FibreStatement,
    IssuedFibre,
    fibre_statement,
    permanence,
)
from orders.models import Commission, Quote, QuoteDocument, Sheet
from orders.quoting.drafting import hold_commission, prepare
from studio.context import asked_by
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.models import Studio
from studio.units import NO_BREAK_SPACE, show_share

NOT_NUMBERED = "Q-new"
# Shares have six places; as whole numbers they are taken like milligrams of a kilogram.
WHOLE = 1_000_000
MAY_CARRY_WOOD = (Fibre.Family.WASTE_PAPER, Fibre.Family.BROKE)


# --- reading ------------------------------------------------------------------------------------


def shown(quote: Quote, today: date) -> Quotation:
    """Return a quote as it was issued; a draft as it would be issued now."""
    if quote.frozen is not None:
        return Quotation.from_json(quote.frozen)
    return live(quote, today)


def live(quote: Quote, today: date) -> Quotation:
    """Reckon a quote with the prices, rates and words of now."""
    studio, sheet = Studio.current(), quote.sheet
    with asked_by(None):
        costs = services.costs_now(
            sheet, quote.quantities, commission=quote.commission, today=today
        )
    made_of = _made_of(sheet)
    return Quotation.of(
        Terms(
            ref=quote.ref or NOT_NUMBERED,
            replaces=quote.replaces.ref if quote.replaces else "",
            issued_on=today,
            studio=studio.name,
            currency=studio.currency,
            system=studio.units,
            client=quote.client.name,
            title=quote.title,
            size_tolerance_um=quote.size_tolerance_um,
            grammage_tolerance=quote.grammage_tolerance,
            tolerance_over=quote.tolerance_over,
            good_quantity=quote.good_quantity,
            includes=" ".join(quote.includes.split()),
            deposit=quote.deposit,
            carriage=Carriage(quote.carriage, quote.carriage_minor or 0),
            tax_rate=studio.tax_rate,
            valid_until=quote.valid_until,
            send_on=quote.send_on,
            recycled=_recycled(made_of) if quote.says_recycled else "",
            permanence=_permanence(made_of, sheet) if quote.says_permanence else "",
            remarks=quote.remarks,
            **_sheet_terms(sheet, made_of),
        ),
        costs,
    )


def _made_of(sheet: Sheet) -> list[FurnishPart]:
    return list(
        FurnishPart.objects.filter(furnish_id=sheet.furnish_id)
        .select_related("fibre")
        .order_by("-share", "pk")
    )


def _additions(sheet: Sheet) -> tuple[str, ...]:
    rows = Addition.objects.filter(furnish_id=sheet.furnish_id).order_by("pk")
    return tuple(rows.values_list("name", flat=True))


def _sheet_terms(sheet: Sheet, made_of: Sequence[FurnishPart]) -> dict[str, Any]:
    return {
        "sheet_name": sheet.name,
        "size": sheet.size,
        "grammage": sheet.grammage,
        "edges": str(sheet.get_edges_display()),
        "furnish": tuple((part.fibre.name, part.share) for part in made_of),
        "additions": _additions(sheet),
    }


def _statement(made_of: Sequence[FurnishPart]) -> FibreStatement:
    return fibre_statement(
        [
            IssuedFibre(
                part.fibre.name, part.fibre.source_class, int(Fraction(part.share) * WHOLE)
            )
            for part in made_of
        ]
    )


def _recycled(made_of: Sequence[FurnishPart]) -> str:
    found = _statement(made_of)
    if not found.recycled_mg:
        return "Nothing in this paper counts as recycled."
    return found.sentences(FROM_FURNISH)


def _permanence(made_of: Sequence[FurnishPart], sheet: Sheet) -> str:
    return permanence(
        [part.fibre.name for part in made_of],
        additions=_additions(sheet),
        may_carry_wood=any(part.fibre.family in MAY_CARRY_WOOD for part in made_of),
        is_made=False,
    )


def claim_doubt(quote: Quote) -> str:
    """Say where a commission wants more recycled fibre than the furnish has; else nothing."""
    claim = quote.commission.claim_recycled if quote.commission else None
    if not claim:
        return ""
    found = _statement(_made_of(quote.sheet))
    if found.reaches(claim):
        return ""
    return (
        f"{quote.commission} asks for at least {show_share(claim)} recycled, and the furnish has "
        f"{found.recycled_percent}{NO_BREAK_SPACE}%."
    )


def sheet_changes(quote: Quote) -> str:
    """Say what of the sheet is another now than the paper says; nothing where all is the same."""
    if quote.frozen is None:
        return ""
    then = Quotation.from_json(quote.frozen)
    now = _sheet_terms(quote.sheet, _made_of(quote.sheet))
    names = {
        "size": "its size", "grammage": "its grammage", "edges": "its edges",
        "furnish": "its furnish", "additions": "what is added",
    }  # fmt: skip
    other = [words for name, words in names.items() if now[name] != getattr(then.terms, name)]
    if not other:
        return ""
    return f"The sheet was changed after {quote.ref} was issued: {', '.join(other)}."


# --- issuing ------------------------------------------------------------------------------------


@acting()
def issue(
    quote: Quote, *, by: Any, without_price: bool = False, key: uuid.UUID | None = None
) -> Quote:
    """Freeze a draft as it stands now; an enquiry that it answers is quoted from then on.

    ``without_price`` lets it go though a price is not known and is counted as nothing.
    """
    if key is not None:
        refuse_repeat(key)
    held = Quote.objects.select_for_update().get(pk=quote.pk)
    if not held.is_draft:
        raise StudioError(
            f"{held.ref} is {held.state_words}; only a draft is issued. Issue it "
            "anew to send other prices.",
            value=held.state,
        )
    _freeze(held, f"Issued {held.ref}", by=by, key=key, without_price=without_price)
    return held


@acting()
def reissue(
    old: Quote,
    new: Quote,
    *,
    by: Any,
    without_price: bool = False,
    key: uuid.UUID | None = None,
) -> Quote:
    """Issue a quote anew, under the next number, in place of one that is out.

    ``new`` is not kept yet; :func:`orders.quoting.again` gives one to begin with.
    """
    if key is not None:
        refuse_repeat(key)
    held = Quote.objects.select_for_update().get(pk=old.pk)
    if held.state not in (Quote.State.ISSUED, Quote.State.DECLINED) or held.frozen is None:
        raise StudioError(
            f"{held.ref} is {held.state_words}; only one that is issued, or was "
            "declined, is issued anew.",
            value=held.state,
        )
    new.commission, new.replaces, new.state = held.commission, held, Quote.State.DRAFT
    prepare(new)
    new.save()
    held.state = Quote.State.REPLACED
    held.save(update_fields=["state"])
    said = f"Issued {new.ref} in place of {held.ref}"
    _freeze(new, said, by=by, key=key, without_price=without_price)
    return new


def _freeze(
    quote: Quote, said: str, *, by: Any, key: uuid.UUID | None, without_price: bool
) -> None:
    today = timezone.localdate()
    _refuse_past(quote.valid_until, today, field="valid_until", would="hold until")
    _refuse_past(quote.send_on, today, field="send_on", would="be sent by")
    found = live(quote, today)
    if found.missing and not without_price:
        raise StudioError(
            f"No price is known for {' and '.join(found.missing)}: counted as nothing. Enter what "
            "a lot of it cost or the price of the addition, or tick that it goes all the same.",
            field="without_price",
        )
    if quote.commission_id:
        _now_quoted(quote)
    quote.state = Quote.State.ISSUED
    quote.save(update_fields=["state"])
    entry = enter(
        "issued quote", f"{said} {quote.title}", page=quote.get_absolute_url(), key=key, by=by
    )
    QuoteDocument.objects.create(
        quote=quote, ref=quote.ref, issued_on=today, body=found.to_json(), entry=entry
    )


def _refuse_past(day: date | None, today: date, *, field: str, would: str) -> None:
    if day is not None and day < today:
        raise StudioError(
            f"It would {would} {day:%d %b %Y}, and that day is over. Give today or a later day.",
            field=field,
            value=day,
        )


def _now_quoted(quote: Quote) -> None:
    """Move an enquiry on; what is quoted or agreed already stays so."""
    commission = hold_commission(quote)
    if commission.state == Commission.State.ENQUIRY:
        commission.state = Commission.State.QUOTED
        commission.save(update_fields=["state"])
