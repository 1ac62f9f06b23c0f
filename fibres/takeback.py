"""Packs whose receipt is taken back: the order expects them again, or has given them up."""

from __future__ import annotations

from fibres.calc.offerwords import packs_in_words
from fibres.calc.parting import part_of_packs
from fibres.models import Arrival, Lot, Purchase, PurchaseLine

State = Purchase.State


def held_arrival(lot_id: int) -> Arrival | None:
    """Return what a lot came as, with its purchase under a lock; None where it was not ordered.

    Whoever receives asks for the purchase before any lot, so this comes before the lot as well.
    """
    purchases = Purchase.objects.select_for_update(of=("self",))
    purchase = purchases.filter(lines__arrivals__lot=lot_id).first()
    if purchase is None:
        return None
    # Read only now: whoever held the lock before may have changed the line.
    arrival = Arrival.objects.select_related("line").get(lot=lot_id)
    arrival.line.purchase = purchase
    return arrival


def in_words(arrival: Arrival) -> str:
    """Say what becomes of the packs."""
    purchase = arrival.line.purchase
    is_one, is_over = arrival.packs == 1, purchase.state == State.CLOSED
    becomes = ("is" if is_one else "are") + (" given up" if is_over else " to come again")
    return f"{packs_in_words(arrival.packs)} of {purchase.ref} {becomes}"


def give_back(arrival: Arrival) -> None:
    """Give the packs of a receipt that stands no longer back to their line.

    The receipt itself stays for the history of its lot. Those of the line that stand bear the
    price as if it had never come, so that what is still to come bears all the rest.
    """
    line = arrival.line
    line.packs_received -= arrival.packs
    line.save(update_fields=["packs_received"])
    _pay(arrival.lot_id, -arrival.goods_minor - arrival.freight_minor)
    _part_anew(line)
    _set_state_back(line.purchase)


def _part_anew(line: PurchaseLine) -> None:
    """Part goods and freight of a line over the receipts that stand, in the order they came."""
    freight_minor = line.purchase.freight_by_line()[line.pk]
    before = 0
    for arrival in line.arrivals.standing().order_by("pk"):
        split = {"packs": line.packs, "before": before, "come": arrival.packs}
        goods, freight = (
            part_of_packs(part, **split) for part in (line.goods_minor, freight_minor)
        )
        change = goods + freight - arrival.goods_minor - arrival.freight_minor
        arrival.goods_minor, arrival.freight_minor = goods, freight
        arrival.save(update_fields=["goods_minor", "freight_minor"])
        _pay(arrival.lot_id, change)
        before += arrival.packs


def _pay(lot_id: int, change_minor: int) -> None:
    """Change what was paid for a lot; where no price is known, none becomes known."""
    lot = Lot.objects.select_for_update().only("pk", "paid_minor").get(pk=lot_id)
    if lot.paid_minor is not None and change_minor:
        Lot.objects.filter(pk=lot_id).update(paid_minor=max(0, lot.paid_minor + change_minor))


def _set_state_back(purchase: Purchase) -> None:
    """Have the purchase on its way again; one that was closed stays closed."""
    if purchase.state == State.CLOSED:
        return
    some_came = purchase.lines.filter(packs_received__gt=0).exists()
    purchase.state = State.PART_RECEIVED if some_came else State.ORDERED
    purchase.save(update_fields=["state"])
