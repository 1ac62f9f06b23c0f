"""What the pages of quotes say, and what a commission's page says of its quotes."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from orders import quoting, services, wording
from orders.calc.costing import Cost
from orders.calc.quotation import Quotation
from orders.models import Commission, Quote, Sheet
from orders.quotetables import QuoteTable
from orders.quoting.deciding import INSTEAD
from orders.quoting.drafting import QUOTABLE
from orders.views.shapes import today
from studio import roles
from studio.context import current_studio
from studio.lists import house_table
from studio.money import show_money
from studio.units import show_number
from studio.working import Line

State = Quote.State


def list_address() -> str:
    """Return where all quotes are."""
    return reverse("quotes")


# --- one quote ----------------------------------------------------------------------------------


def lede(quote: Quote, refusal: str = "", bar: str = "") -> str:
    """Say how it stands and what to do."""
    if bar:
        state = "A draft" if quote.is_draft else "Out with the client"
        return f"{state}, but it cannot be accepted any more. Lay it aside."
    until = wording.day(quote.valid_until, today())
    if quote.is_draft and refusal:
        return "A draft that cannot be reckoned yet."
    if quote.is_lapsed:
        return f"It held until {until}. Issue it anew, or accept it all the same."
    after = {
        State.DRAFT: "A draft at the prices of now. Issue it, and the prices stay as they are.",
        State.ISSUED: f"Out with the client; it holds until {until}, whatever prices do.",
        State.ACCEPTED: _accepted(quote),
        State.DECLINED: "Laid aside; it counts for nothing any more.",
        State.REPLACED: "Another issue took its place.",
    }
    return after[State(quote.state)]


def _accepted(quote: Quote) -> str:
    """Say at which number, and what its commission stands at where that is another by now."""
    commission = quote.commission
    found = Quotation.from_json(quote.frozen) if quote.frozen else None
    said = (found.accepted_words(quote.accepted_quantity) if found else "") or "Accepted."
    if commission is None or commission.agreed_price_minor is None or found is None:
        return said
    if commission.good_quantity == quote.accepted_quantity:
        return f"{said} {commission.ref} stands at that."
    count = show_number(commission.good_quantity)
    each = show_money(commission.agreed_price_minor, found.terms.currency)
    return f"{said} {commission.ref} stands at {count} good sheets at {each} each."


def workings(found: Quotation) -> list[tuple[str, Any]]:
    """Return the working of each price under the words that open it."""
    return [
        (f"How the price at {show_number(price.sheets)} sheets is worked out", price)
        for price in found.prices
    ]


def not_out(quote: Quote) -> str:
    """Say that a quote is past, or before, what was asked, and what to do instead."""
    return f"{quote.ref} is {quote.state_words}. {INSTEAD.get(State(quote.state), '')}".strip()


# --- while it is typed --------------------------------------------------------------------------


def sheet_of(quote: Quote) -> Sheet | None:
    """Return the sheet that a quote is about, if one is chosen yet."""
    return quote.sheet if quote.sheet_id else None


def prices(quote: Quote, sheet: Sheet | None, now: date) -> dict[str, Any] | None:
    """Price a quote as typed at each of its numbers, and say when it could leave."""
    if sheet is None or not quote.good_quantity:
        return None
    costs = services.costs_now(sheet, quote.quantities, commission=quote.commission, today=now)
    lines = [_price_line(cost, quote) for cost in costs]
    chosen = next(cost for cost in costs if cost.quantity == quote.good_quantity)
    each = show_money(chosen.total_minor_per_sheet, chosen.currency)
    at = f"at {show_number(chosen.quantity)} good sheets"
    lines += _carriage_line(quote, chosen.currency)
    lines.append(Line("Cost of a good sheet", each, at, "line"))
    return {
        "lines": lines,
        "missing": " and ".join(chosen.missing),
        "sending": _sending(quote, sheet, now) if sheet.pk else "",
        "rate_words": chosen.rate_words,
    }


def _price_line(cost: Cost, quote: Quote) -> Line:
    each = show_money(cost.price_minor_per_sheet, cost.currency)
    total = show_money(cost.price_total_minor, cost.currency)
    tax = f", tax on it {show_money(cost.tax_minor, cost.currency)}" if cost.tax_minor else ""
    kind = "answer" if cost.quantity == quote.good_quantity else ""
    return Line(f"{show_number(cost.quantity)} good sheets", total, f"{each} each{tax}", kind)


def _carriage_line(quote: Quote, currency: str) -> list[Line]:
    if not quote.carriage_minor:
        return []
    amount = show_money(quote.carriage_minor, currency)
    if quote.carriage == Quote.Carriage.ADDED:
        return [Line("Carriage", amount, "added once, whichever number is ordered")]
    return [Line("Carriage", amount, "included: paid out of the price")]


def _sending(quote: Quote, sheet: Sheet, now: date) -> str:
    day = quoting.send_day(sheet, quote.good_quantity, now, commission=quote.commission)
    if day is None:
        return "No day to send can be reckoned: some of the fibre is not in sight."
    return f"Begun at once it can be packed by {wording.day(day, now)}."


# --- the answer ---------------------------------------------------------------------------------


def choices(quote: Quote) -> list[tuple[int, str]]:
    """Return each number that was offered, with its price."""
    if quote.frozen is None:
        return []
    found = Quotation.from_json(quote.frozen)
    currency = found.terms.currency
    return [
        (
            price.sheets,
            f"{show_number(price.sheets)} at {show_money(price.each_minor, currency)}, "
            f"{show_money(price.to_pay_minor, currency)} in all",
        )
        for price in found.prices
    ]


def doubt(quote: Quote) -> str:
    """Say why an issued quote may not be good any more; nothing where it is."""
    said = []
    if quote.is_lapsed:
        said.append(f"It held until {wording.day(quote.valid_until, today())}.")
    if changed := quoting.sheet_changes(quote):
        said.append(changed)
    return " ".join(said)


def due_day(quote: Quote, now: date) -> date | None:
    """Return the day named in the letter, later by as long as the answer took."""
    if quote.frozen is None or quote.send_on is None:
        return None
    issued = date.fromisoformat(quote.frozen["issued_on"])
    return max(now, quote.send_on + (now - issued))


def accept_words(quote: Quote) -> str:
    """Say what comes of it."""
    if quote.commission is None:
        return "A commission is entered and agreed: fibre is set aside for it from now on."
    return (
        f"{quote.commission.ref} is agreed at the number and price of the quote: fibre is set "
        "aside for it from now on."
    )


# --- on the page of a commission ----------------------------------------------------------------


def quotes_context(
    request: HttpRequest, commission: Commission, costs: list[Cost]
) -> dict[str, Any]:
    """Return the quotes of a commission and the price that was agreed; for who sees money."""
    if not roles.can(request.user, "money"):
        return {}
    rows = list(quoting.quotes().filter(commission=commission.pk))
    table = house_table(
        request, QuoteTable, rows, paginate=False, prefix="quotes-", exclude=["commission"]
    )
    is_open = commission.state in QUOTABLE and all(one.state != State.ACCEPTED for one in rows)
    may_quote = is_open and roles.can(request.user, "orders.change")
    return {
        "quotes": table if rows else None,
        "agreed_words": _agreed(commission, rows, costs, request),
        "may_quote": may_quote,
    }


def _agreed(
    commission: Commission, rows: list[Quote], costs: list[Cost], request: HttpRequest
) -> str:
    """Set the price that was agreed beside what it would be now."""
    if commission.agreed_price_minor is None:
        return ""
    accepted = next((quote for quote in rows if quote.state == State.ACCEPTED), None)
    currency = accepted.frozen["currency"] if accepted and accepted.frozen else ""
    currency = currency or (costs[0].currency if costs else current_studio(request).currency)
    price = show_money(commission.agreed_price_minor, currency)
    said = f"{price} a good sheet was agreed"
    said += f" by {accepted.ref}." if accepted else "."
    own = next((cost for cost in costs if cost.quantity == commission.good_quantity), None)
    if own is not None and own.currency == currency:
        now = show_money(own.price_minor_per_sheet, currency)
        said += f" Reckoned now the price would be {now}."
    return said
