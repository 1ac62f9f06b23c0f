"""Drafts of quotes: from a commission, from a sheet, or from the figures of the Bench."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from typing import Any

from orders import services
from orders.calc.sheets import SheetSpec
from orders.models import Commission, Quote, Sheet
from orders.quoting.estimating import send_day
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.models import Counter, Mould, Studio

State = Commission.State
# A new quote is drawn up for these. One that was there before may still be issued and accepted
# once its commission is agreed by word alone.
QUOTABLE = (State.ENQUIRY, State.QUOTED)
ANSWERABLE = (*QUOTABLE, State.AGREED)
HOW_MANY_OTHERS = 3
CHANGEABLE = (
    "client", "sheet", "title", "good_quantity", "other_quantities", "size_tolerance_um",
    "grammage_tolerance", "tolerance_over", "includes", "carriage", "carriage_minor",
    "deposit", "valid_until", "send_on",
    "says_recycled", "says_permanence", "remarks",
)  # fmt: skip


# --- where a draft begins -----------------------------------------------------------------------


def usual(wanted: int | None, today: date) -> Quote:
    """Return a quote, not kept yet, with what the studio usually offers."""
    studio = Studio.current()
    return Quote(
        good_quantity=wanted,
        other_quantities=_others(wanted) if wanted else [],
        size_tolerance_um=studio.size_tolerance_um,
        grammage_tolerance=studio.grammage_tolerance,
        includes=studio.quote_includes,
        deposit=studio.quote_deposit,
        valid_until=today + timedelta(days=studio.quote_days),
    )


def _others(wanted: int) -> list[int]:
    """Return the usual numbers that are nearest to the one that is asked for."""
    rest = (number for number in services.USUAL_QUANTITIES if number != wanted)
    near = sorted(rest, key=lambda number: max(number, wanted) / min(number, wanted))
    return sorted(near[:HOW_MANY_OTHERS])


def from_commission(commission: Commission, today: date, *, with_day: bool = True) -> Quote:
    """Return a quote, not kept yet, for what a commission asks.

    ``with_day`` reckons the day to send, which takes a look at the whole store.
    """
    refuse_unless_quotable(commission)
    quote = usual(commission.good_quantity, today)
    quote.commission, quote.client = commission, commission.client
    quote.sheet, quote.title = commission.sheet, commission.title
    quote.tolerance_over = commission.tolerance_over
    if with_day:
        wanted = commission.good_quantity
        quote.send_on = send_day(commission.sheet, wanted, today, commission=commission)
    return quote


def from_sheet(sheet: Sheet, wanted: int | None, today: date, *, with_day: bool = True) -> Quote:
    """Return a quote, not kept yet, for a number of sheets of a kind that is kept already."""
    quote = usual(wanted, today)
    quote.sheet = sheet
    if wanted and with_day:
        quote.send_on = send_day(sheet, wanted, today)
    return quote


def from_bench(spec: SheetSpec, wanted: int, today: date) -> tuple[Quote, Sheet]:
    """Return a quote and a sheet, neither kept yet, from the figures of a sum at the Bench.

    The sheet still wants its name and its furnish; a sheet that is cut is given the mould of
    that opening, if there is one here.
    """
    mould = None
    if spec.mould is not None:
        mould = Mould.objects.filter(
            width_um=spec.mould.width_um, height_um=spec.mould.height_um, closed_on__isnull=True
        ).first()
    sheet = Sheet(
        width_um=spec.size.width_um,
        height_um=spec.size.height_um,
        grammage=spec.grammage,
        mould=mould,
        edges=Sheet.Edges.TRIMMED if spec.mould else Sheet.Edges.AS_PULLED,
        trim_um=spec.trim_um,
        sheet_moisture=spec.sheet_moisture,
        non_fibre_share=spec.non_fibre_share,
        retention=spec.retention,
        broke=spec.broke,
        retree=spec.retree,
    )
    return usual(wanted, today), sheet


def refuse_unless_answerable(commission: Commission) -> None:
    """Refuse a commission that is being made or is over, or whose quote is accepted."""
    if commission.state not in ANSWERABLE:
        raise StudioError(
            f"{commission.ref} is {commission.get_state_display().lower()}; quotes are for what "
            "is not begun yet. Enter a new commission to quote for the next one.",
            field="commission",
            value=commission.ref,
        )
    accepted = commission.quotes.filter(state=Quote.State.ACCEPTED).first()
    if accepted is not None:
        raise StudioError(
            f"{accepted.ref} is accepted for {commission.ref} already. Change the commission if "
            "the client wants another number.",
            field="commission",
            value=accepted.ref,
        )


def refuse_unless_quotable(commission: Commission) -> None:
    """Refuse to draw up a quote beside what is agreed already, be it by word alone."""
    refuse_unless_answerable(commission)
    if commission.state not in QUOTABLE:
        raise StudioError(
            f"{commission.ref} is agreed already; quotes are for what the client has not agreed "
            "to. Enter a new commission to quote for the next one, or take this one back to "
            "quoted; until it is agreed again no fibre is held for it.",
            field="commission",
            value=commission.ref,
        )


def hold_commission(quote: Quote) -> Commission:
    """Return the commission of a quote, held; refuse one that it does not speak of any more."""
    held = Commission.objects.select_for_update().get(pk=quote.commission_id)
    _refuse_unless_meant(held, quote)
    return held


def bar(quote: Quote) -> str:
    """Say why the commission of a quote cannot take it any more; nothing where it can."""
    if quote.commission is None or quote.state in (Quote.State.ACCEPTED, Quote.State.REPLACED):
        return ""
    try:
        _refuse_unless_meant(quote.commission, quote)
    except StudioError as refusal:
        return str(refusal)
    return ""


def _refuse_unless_meant(held: Commission, quote: Quote) -> None:
    refuse_unless_answerable(held)
    other = ""
    if held.sheet_id != quote.sheet_id:
        other = f"another sheet now than {quote.ref} offers"
    elif held.client_id != quote.client_id:
        other = f"another client now than {quote.ref} names"
    if other:
        raise StudioError(
            f"{held.ref} is for {other}. Draw up a new quote for it.",
            field="commission",
            value=held.ref,
        )


# --- keeping it ---------------------------------------------------------------------------------


@acting()
def draft(
    quote: Quote,
    *,
    by: Any,
    new_client: str = "",
    new_sheet: Sheet | None = None,
    key: uuid.UUID | None = None,
) -> Quote:
    """Keep a new quote under the next number of its own series.

    ``new_client`` names a client that is entered with it; ``new_sheet`` is kept with it.
    """
    if key is not None:
        refuse_repeat(key)
    prepare(quote, new_client=new_client, new_sheet=new_sheet)
    quote.save()
    enter(
        "drafted quote",
        f"Drafted {quote.ref} {quote.title}",
        page=quote.get_absolute_url(),
        key=key,
        by=by,
    )
    return quote


def prepare(quote: Quote, *, new_client: str = "", new_sheet: Sheet | None = None) -> None:
    """Make a new quote ready to be kept: its client, its sheet, its number."""
    if quote.commission_id:
        held = Commission.objects.select_for_update().get(pk=quote.commission_id)
        # Issued anew, a quote only says again what was offered before.
        refuse = refuse_unless_answerable if quote.replaces_id else refuse_unless_quotable
        refuse(held)
        quote.client_id, quote.sheet_id = held.client_id, held.sheet_id
    if new_client:
        quote.client = services.client_named(new_client)
    if new_sheet is not None:
        new_sheet.full_clean()
        new_sheet.save()
        quote.sheet = new_sheet
    # Checked before a number is taken, and with it once more.
    quote.clean_fields(exclude=["ref"])
    quote.ref = f"Q-{Counter.next('quote'):03d}"
    quote.full_clean()


@acting()
def change(
    quote: Quote,
    *,
    by: Any,
    new_client: str = "",
    new_sheet: Sheet | None = None,
    key: uuid.UUID | None = None,
) -> Quote:
    """Keep what was changed in a draft."""
    if key is not None:
        refuse_repeat(key)
    held = Quote.objects.select_for_update().get(pk=quote.pk)
    if not held.is_draft:
        raise StudioError(
            f"{held.ref} is {held.state_words}, so nothing in it is changed any "
            "more. Issue it anew under the next number.",
            value=held.state,
        )
    if new_client:
        quote.client = services.client_named(new_client)
    if new_sheet is not None:
        new_sheet.full_clean()
        new_sheet.save()
        quote.sheet = new_sheet
    quote.full_clean()
    quote.save(update_fields=CHANGEABLE)
    enter(
        "changed quote",
        f"Changed {quote.ref} {quote.title}",
        page=quote.get_absolute_url(),
        key=key,
        by=by,
    )
    return quote
