"""What a person does about an order but receive it; each act once and whole."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal

import pytest

from fibres import purchasing, queries
from fibres.models import Arrival, Lot, Movement, Purchase, PurchaseLine, Source
from fibres.purchasing import Wanted
from studio.entries import AlreadyEnteredError
from studio.errors import RangeError, StudioError
from studio.models import Entry
from tests.builders import (
    KG,
    arrived,
    day,
    make_fibre,
    make_offer,
    make_purchase,
    make_source,
)
from tests.fibres.buying import state_of

pytestmark = pytest.mark.django_db


# --- planned and ordered ------------------------------------------------------------------------


def test_plan_keeps_the_terms_of_the_offers_and_the_usual_freight(owner):
    source = make_source(freight_minor=3500, free_freight_from_minor=50_000)
    offer = make_offer(source=source, breaks={4: 900}, form="Dry bark")
    purchase = purchasing.plan(
        source, [purchasing.from_offer(offer, 4, on=day())], order_by=day(-9), by=owner
    )
    line = purchase.lines.get()
    assert (purchase.ref, purchase.state, purchase.order_by) == ("P-001", "planned", day(-9))
    # By hand: 4 packs of 5 kg at 9.00, the price from 4 packs on, are 180.00; below 500.00.
    assert (line.goods_minor, purchase.freight_minor) == (18_000, 3500)
    assert (line.packs, line.pack_mg, line.moisture) == (4, 5 * KG, Decimal("0.08"))
    assert (line.form, line.offer) == ("Dry bark", offer)
    entry = Entry.objects.get()
    assert (entry.act, entry.by, entry.page) == ("plan purchase", owner, "/purchases/P-001/")
    assert "180" not in entry.said


def test_freight_is_free_from_the_amount_that_the_source_names():
    source = make_source(freight_minor=3500, free_freight_from_minor=47_00)
    offer = make_offer(source=source)
    # By hand: one pack is 5 kg at 9.40, 47.00, which is just enough.
    assert (
        purchasing.plan(source, [purchasing.from_offer(offer, 1, on=day())], by=None).freight_minor
        == 0
    )
    given_price = purchasing.from_offer(offer, 1, on=day(), goods_minor=4699)
    assert purchasing.plan(source, [given_price], by=None).freight_minor == 3500


def test_changed_plan_has_the_new_lines_alone(owner):
    purchase = make_purchase(is_planned=True)
    offer = make_offer(source=purchase.source)
    purchasing.change(purchase, [purchasing.from_offer(offer, 2, on=day())], by=owner)
    now = Purchase.objects.get()
    assert [(line.offer, line.packs) for line in now.lines.all()] == [(offer, 2)]
    assert (now.order_by, now.freight_minor) == (None, 0)


def test_order_is_expected_after_the_days_that_the_source_takes(owner):
    purchase = make_purchase(make_offer(source=make_source(lead_days=12)), is_planned=True)
    ordered = purchasing.order(purchase, ordered_on=day(1), freight_minor=700, by=owner)
    now = Purchase.objects.get()
    assert now.state == Purchase.State.ORDERED
    assert (now.ordered_on, now.expected_on) == (day(1), day(1) + timedelta(days=12))
    assert (ordered.freight_minor, now.freight_minor) == (700, 700)


def test_mark_ordered_enters_a_whole_order_in_one_act(owner):
    source = make_source(lead_days=9, freight_minor=1500)
    kozo, linter = make_offer(source=source), make_offer(source=source)
    purchase = purchasing.mark_ordered(
        source,
        [(kozo, 2), (linter, 1)],
        ordered_on=day(),
        goods_minor={linter.pk: 4444},
        by=owner,
    )
    # By hand: 2 packs of 5 kg at 9.40 are 94.00; the other price was agreed.
    assert [line.goods_minor for line in purchase.lines.all()] == [9400, 4444]
    assert (purchase.state, purchase.freight_minor) == ("ordered", 1500)
    assert purchase.expected_on == day(-9)
    assert Entry.objects.get().act == "order"


@pytest.mark.parametrize(
    ("offer", "packs", "fault"),
    [
        ({"least_packs": 3}, 2, "is sold by 3 packs or more, got 2"),
        ({"valid_to": day(1)}, 1, "does not hold on"),
        ({"valid_from": day(-1)}, 1, "does not hold on"),
    ],
)
def test_what_is_not_offered_has_no_price(offer, packs, fault):
    offer = make_offer(**offer)
    with pytest.raises(RangeError, match=fault) as refused:
        purchasing.mark_ordered(offer.source, [(offer, packs)], ordered_on=day(), by=None)
    assert refused.value.field == f"offer_{offer.pk}"
    assert not Purchase.objects.exists()
    # A price that was agreed all the same is kept.
    assert purchasing.from_offer(offer, packs, on=day(), goods_minor=1).goods_minor == 1


@pytest.mark.parametrize(
    ("source", "fault"),
    [({"closed_on": day(1)}, "is closed"), ({"kind": "donor"}, "gives and does not sell")],
)
def test_nothing_is_ordered_from_a_closed_source_or_a_donor(source, fault):
    offer = make_offer(source=make_source(**source))
    with pytest.raises(StudioError, match=fault):
        purchasing.plan(offer.source, [purchasing.from_offer(offer, 1, on=day())], by=None)
    assert not Purchase.objects.exists()
    assert not Entry.objects.exists()


@pytest.mark.parametrize(
    ("source", "fault"),
    [({"closed_on": day(1)}, "is closed"), ({"kind": "donor"}, "gives and does not sell")],
)
def test_plan_is_not_ordered_from_a_source_that_was_closed_or_made_a_donor_since(source, fault):
    purchase = make_purchase(is_planned=True)
    entries = Entry.objects.count()
    # The purchase in hand still has the source as it was when the page was opened.
    Source.objects.filter(pk=purchase.source_id).update(**source)
    with pytest.raises(StudioError, match=fault):
        purchasing.order(purchase, ordered_on=day(), by=None)
    assert (state_of(purchase), Entry.objects.count()) == ("planned", entries)


def test_closed_offer_has_no_price_unless_one_was_agreed():
    offer = make_offer(closed_on=day(1))
    with pytest.raises(RangeError, match=f"offer of {offer.fibre} is closed") as refused:
        purchasing.from_offer(offer, 1, on=day())
    assert refused.value.field == f"offer_{offer.pk}"
    assert purchasing.from_offer(offer, 1, on=day(), goods_minor=4700).goods_minor == 4700


def test_lines_that_cannot_be_are_refused():
    source, other = make_source(), make_offer()
    refused = make_fibre(is_refused=True, refusals="Thermal paper stays out.")
    wanted = {"packs": 1, "pack_mg": KG, "moisture": Decimal("0.1"), "goods_minor": 100}
    for lines, fault in (
        ([], "at least one fibre"),
        ([purchasing.from_offer(other, 1, on=day())], "is offered by"),
        ([Wanted(refused, **wanted)], "Thermal"),
        ([Wanted(other.fibre, **{**wanted, "pack_mg": 1, "moisture": Decimal("0.9")})], "no fib"),
    ):
        with pytest.raises(StudioError, match=fault):
            purchasing.place(source, lines, ordered_on=day(), by=None)
    assert not Purchase.objects.exists()


def test_days_that_cannot_be_are_refused():
    purchase = make_purchase(is_planned=True)
    for days, field in (
        ({"ordered_on": day(-3)}, "ordered_on"),
        ({"ordered_on": day(), "expected_on": day(1)}, "expected_on"),
    ):
        with pytest.raises(RangeError) as refused:
            purchasing.order(purchase, **days, by=None)
        assert refused.value.field == field
    assert state_of(purchase) == "planned"


def test_what_is_ordered_is_neither_changed_nor_ordered_again():
    purchase = make_purchase()
    line = purchasing.from_offer(make_offer(source=purchase.source), 1, on=day())
    with pytest.raises(StudioError, match="is ordered, no longer planned"):
        purchasing.order(purchase, ordered_on=day(), by=None)
    with pytest.raises(StudioError, match="What was ordered stays"):
        purchasing.change(purchase, [line], by=None)


# --- put off and given up -----------------------------------------------------------------------


def test_another_day_is_kept_and_a_past_one_refused():
    purchase = make_purchase()
    purchasing.expect(purchase, day(-30), by=None)
    assert Purchase.objects.get().expected_on == day(-30)
    assert {one.expected_on for one in queries.packs_to_come()} == {day(-30)}
    with pytest.raises(RangeError, match="has passed"):
        purchasing.expect(purchase, day(1), by=None)
    with pytest.raises(StudioError, match="has not been ordered"):
        purchasing.expect(make_purchase(is_planned=True), day(-1), by=None)


@pytest.mark.parametrize("kwargs", [{"is_planned": True}, {}, {"received": 2}])
def test_closing_gives_up_what_has_not_come_and_keeps_what_has(kwargs):
    purchase = make_purchase(**kwargs)
    lots = list(Lot.objects.values("oven_dry_mg", "paid_minor"))
    purchasing.close(purchase, "Sold out", by=None)
    now = Purchase.objects.get()
    assert (now.state, now.closed_on, now.remarks) == ("closed", day(), "Closed: Sold out")
    assert queries.packs_to_come() == []
    assert list(Lot.objects.values("oven_dry_mg", "paid_minor")) == lots
    with pytest.raises(StudioError, match="is to come any more"):
        purchasing.close(purchase, "Again", by=None)


def test_nothing_is_left_to_close_of_what_came_whole():
    with pytest.raises(StudioError, match="is to come any more"):
        purchasing.close(make_purchase(received=3), "Done", by=None)


# --- sent twice ---------------------------------------------------------------------------------


def written():
    rows = (Purchase, PurchaseLine, Arrival, Lot, Movement, Entry)
    return [list(model.objects.order_by("pk").values()) for model in rows]


@pytest.mark.parametrize(
    "act", ["plan", "change", "order", "place", "mark", "receive", "expect", "close"]
)
def test_an_act_under_one_key_is_done_once(act, owner):
    key, offer = uuid.uuid4(), make_offer(valid_to=day())
    planned = make_purchase(offer, is_planned=True)
    ordered = make_purchase(offer)
    lines = [purchasing.from_offer(offer, 1, on=day())]
    come = [arrived(ordered.lines.get(), 1)]
    who = {"by": owner, "key": key}
    acts = {
        "plan": lambda: purchasing.plan(offer.source, lines, **who),
        "change": lambda: purchasing.change(planned, lines, **who),
        "order": lambda: purchasing.order(planned, ordered_on=day(), **who),
        "place": lambda: purchasing.place(offer.source, lines, ordered_on=day(), **who),
        "mark": lambda: purchasing.mark_ordered(
            offer.source, [(offer, 1)], ordered_on=day(), **who
        ),
        "receive": lambda: purchasing.receive(ordered, come, received_on=day(), **who),
        "expect": lambda: purchasing.expect(ordered, day(-9), **who),
        "close": lambda: purchasing.close(ordered, "Sold out", **who),
    }
    acts[act]()
    before = written()
    assert Entry.objects.filter(request_key=key).count() == 1
    # The offer ends meanwhile: the doubled page is still told of the first.
    offer.valid_to = day(9)
    with pytest.raises(AlreadyEnteredError):
        acts[act]()
    assert written() == before
