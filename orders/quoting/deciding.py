"""What the client answered: accepted at one of the numbers, or declined."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

from django.utils import timezone

from orders.calc.quotation import Quotation
from orders.models import Commission, Quote
from orders.quoting.drafting import hold_commission
from orders.quoting.issuing import sheet_changes
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.models import Counter

State = Quote.State
# What to do where a quote cannot be answered as it stands.
INSTEAD = {
    State.DRAFT: "Issue it first.",
    State.ACCEPTED: "Nothing more is to be done.",
    State.DECLINED: "Issue it anew if the client comes back.",
    State.REPLACED: "Answer the one that took its place.",
}


@acting()
def accept(
    quote: Quote,
    quantity: int,
    *,
    by: Any,
    due: date | None = None,
    all_the_same: bool = False,
    key: uuid.UUID | None = None,
) -> Commission:
    """Make a commission of a quote, agreed at a number and its price.

    The commission that it was made from is agreed with them instead. ``due`` is the day a new
    commission is due; without it, the day the quote names. ``all_the_same`` is the owner's word
    that a quote which has lapsed, or whose sheet was changed, is still good.
    """
    if key is not None:
        refuse_repeat(key)
    held = Quote.objects.select_for_update().get(pk=quote.pk)
    found = _out(held)
    price = found.price_of(quantity)
    if not all_the_same:
        _refuse_unless_good(held)
    commission = hold_commission(held) if held.commission_id else _new(held, found, due)
    commission.good_quantity = price.sheets
    commission.agreed_price_minor = price.each_minor
    commission.tolerance_over = found.terms.tolerance_over
    commission.state = Commission.State.AGREED
    commission.full_clean()
    commission.save()
    held.state, held.commission = State.ACCEPTED, commission
    held.accepted_quantity = price.sheets
    held.save(update_fields=["state", "commission", "accepted_quantity"])
    enter(
        "accepted quote",
        f"Accepted {held.ref} at {price.sheets} good sheets: {commission.ref} is agreed",
        page=commission.get_absolute_url(),
        key=key,
        by=by,
    )
    return commission


def _out(quote: Quote) -> Quotation:
    """Return what went out; refuse a quote that nobody can answer any more."""
    if not quote.is_issued or quote.frozen is None:
        raise StudioError(
            f"{quote.ref} is {quote.state_words}, not out with the client. "
            f"{INSTEAD.get(State(quote.state), '')}".strip(),
            value=quote.state,
        )
    return Quotation.from_json(quote.frozen)


def _refuse_unless_good(quote: Quote) -> None:
    said = sheet_changes(quote)
    if quote.is_lapsed:
        said = f"{quote.ref} held until {quote.valid_until:%d %b %Y}. {said}".strip()
    if said:
        raise StudioError(
            f"{said} Issue it anew, or tick that it is accepted all the same.",
            field="all_the_same",
            value=quote.ref,
        )


def _new(quote: Quote, found: Quotation, due: date | None) -> Commission:
    today = timezone.localdate()
    day = due or found.terms.send_on
    if day is None:
        raise StudioError(
            f"{quote.ref} names no day to send. Give the day that the sheets are due.",
            field="due",
        )
    if day < today:
        raise StudioError(f"Give a day from today on, got {day:%d %b %Y}.", field="due", value=day)
    return Commission(
        ref=f"C-{Counter.next('commission'):03d}",
        title=found.terms.title,
        client=quote.client,
        sheet=quote.sheet,
        due=day,
        remarks=f"From {quote.ref}.",
    )


@acting()
def decline(quote: Quote, *, by: Any, why: str = "", key: uuid.UUID | None = None) -> Quote:
    """Lay a quote aside: the client said no, or a draft is not wanted any more."""
    if key is not None:
        refuse_repeat(key)
    held = Quote.objects.select_for_update().get(pk=quote.pk)
    if held.state not in (State.DRAFT, State.ISSUED):
        raise StudioError(
            f"{held.ref} is {held.state_words}; only a draft or one that is out is laid aside.",
            value=held.state,
        )
    held.state = State.DECLINED
    held.save(update_fields=["state"])
    reason = f": {' '.join(why.split())}" if why.strip() else ""
    enter(
        "declined quote",
        f"{held.ref} is declined{reason}",
        page=held.get_absolute_url(),
        key=key,
        by=by,
    )
    return held
