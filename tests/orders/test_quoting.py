"""What is done with a quote until it goes out: drafted, changed, issued and frozen."""

import json
import uuid
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from fibres.models import FurnishPart, Lot
from orders import demo, quoting, services
from orders.calc.spec import SheetSpec
from orders.models import Client, Commission, Quote, QuoteDocument, Sheet
from studio import people
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.models import Entry
from studio.sizes import Size
from tests.builders import (
    day,
    make_dryer,
    make_fibre,
    make_furnish,
    make_lot,
    make_mould,
    make_quote,
    make_sheet,
    make_studio,
)
from tests.orders.quotings import enquiry, gift_sheet, in_days, now, plain_studio, prices, today

pytestmark = pytest.mark.django_db
State = Quote.State


@pytest.fixture
def asked(studio):
    return enquiry()


# --- prices by hand


def test_the_ladder_comes_out_as_reckoned_in_the_head(draft):
    """10 sheets: 60 + 10 × 6 minutes are two hours, 48.00, 4.80 each; a fifth kept makes 6.00.

    20 sheets: three hours, 72.00, 3.60, 4.50. 50 sheets: six hours, 144.00, 2.88, 3.60. The
    fibre is a gift. Tax is a fifth of the price in all.
    """
    found = quoting.shown(draft, today())
    assert prices(found) == [
        (10, 600, 6_000, 1_200),
        (20, 450, 9_000, 1_800),
        (50, 360, 18_000, 3_600),
    ]
    # 90.00 and 18.00 are 108.00, half of which is due on order.
    assert (found.chosen.to_pay_minor, found.chosen.deposit_minor) == (10_800, 5_400)


def test_a_tax_line_is_rounded_once_and_half_to_even(studio):
    """3 sheets: 78 minutes, 31.20, 10.40 each, 13.00 asked, 39.00 in all; 7.5 % are 2.925."""
    make_studio(tax_rate=Decimal("0.075"))
    quote = make_quote(gift_sheet(), good_quantity=3)
    found = quoting.shown(quote, today())
    assert prices(found) == [(3, 1_300, 3_900, 292)]


def test_the_demo_quotes_what_the_trade_notes_reckon():
    """Scenario H1, 60 sheets of C-003: 69 pulls of 6 minutes and 75 to set up, by hand.

    With two trial pulls they are 501 minutes, at 22.00 and 4.00 an hour 217.10, or 3.62 each.
    3.767 kg in the vat are 2.306 kg of linter at 8.68 and 1.553 kg of abaca at 18.33,
    oven-dry: 48.49, or 0.81 each: first in, first out, the promises before it use up the older
    lot. Energy, water, heel, trial sheets and packing come to 0.15. 4.58 are seven tenths of 6.54.
    """
    people.make_roles()
    demo.make(today(), people.make_owner("demo owner", None))
    asked = Commission.objects.get(ref="C-003")
    # Drawn up before it was agreed; its prices are those of now.
    services.move(asked, "quoted", by=None)
    asked.refresh_from_db()
    quote = quoting.draft(quoting.from_commission(asked, today()), by=None)
    services.move(asked, "agreed", by=None)
    quote, asked = now(quote), Commission.objects.get(pk=asked.pk)
    found = quoting.shown(quote, today())
    cover, answer = services.cover_of(asked, today())
    cost = services.cost_of(asked, picks=answer.picks, cover=cover)
    assert found.chosen.each_minor == cost.price_minor_per_sheet
    assert found.chosen.each_minor == 654
    assert found.chosen.total_minor == 60 * found.chosen.each_minor
    assert found.words.tax == "No tax is added."


def test_prices_are_those_of_the_cost_function(draft, asked):
    found = quoting.shown(draft, today())
    _, answer = services.cover_of(asked, today())
    costs = services.costs_of(asked.sheet, [10, 20, 50], picks=answer.picks)
    assert [one.each_minor for one in found.prices] == [
        cost.price_minor_per_sheet for cost in costs
    ]
    assert found.chosen.working == costs[1].working


# --- where a draft begins


def test_a_draft_takes_the_terms_of_the_commission_and_of_the_studio(studio):
    make_studio(quote_days=14, size_tolerance_um=3000)
    asked = enquiry(tolerance_over=Decimal("0.1"))
    quote = quoting.from_commission(asked, today())
    assert (quote.client, quote.sheet, quote.title) == (asked.client, asked.sheet, "Song sheets")
    assert quote.good_quantity == 20
    assert quote.tolerance_over == Decimal("0.1")
    assert quote.valid_until == in_days(14)
    assert quote.size_tolerance_um == 3000
    assert quote.includes == "Packing is included; carriage is extra."


def test_the_day_to_send_is_that_of_the_commissions_page(asked):
    """A load of 50 dries in two days and packing takes one: the fibre needs no preparation."""
    make_dryer()
    make_studio(packing_days=1)
    assert asked.sheet.furnish.parts.get().fibre.preparation_days == 0
    quote = quoting.from_commission(asked, today())
    assert quote.send_on == in_days(3)


def test_no_day_is_named_where_the_fibre_is_not_in_sight(studio):
    sheet = make_sheet(make_furnish({make_fibre(): "1"}))
    assert quoting.from_commission(enquiry(sheet), today()).send_on is None


def test_from_the_bench_comes_a_sheet_with_its_losses(studio):
    mould = make_mould(width_um=320_000, height_um=450_000)
    spec = SheetSpec(
        size=Size(148_000, 210_000), grammage=Decimal(90), broke=Decimal("0.05"),
        mould=Size(320_000, 450_000), trim_um=2000,
    )  # fmt: skip
    quote, sheet = quoting.from_bench(spec, 40, today())
    assert quote.good_quantity == 40
    assert (sheet.width_um, sheet.height_um, sheet.grammage) == (148_000, 210_000, 90)
    assert (sheet.broke, sheet.mould, sheet.edges) == (Decimal("0.05"), mould, "trimmed")
    assert sheet.trim_um == 2000


def test_client_and_sheet_are_entered_with_the_draft(studio):
    furnish = gift_sheet().furnish
    quote = quoting.usual(30, today())
    quote.title = "Menus"
    made = Sheet(
        name="Menu A5", width_um=148_000, height_um=210_000, grammage=Decimal(120),
        furnish=furnish,
    )  # fmt: skip
    quoting.draft(quote, new_client="Otter Kitchen", new_sheet=made, by=None)
    kept = now(quote)
    assert (kept.client.name, kept.sheet.name) == ("Otter Kitchen", "Menu A5")


def test_what_cannot_be_kept_takes_no_number_and_leaves_nothing(studio):
    quote = quoting.usual(30, today())
    quote.sheet, quote.title = gift_sheet(), ""
    with pytest.raises(ValidationError):
        quoting.draft(quote, new_client="Otter Kitchen", by=None)
    assert not Client.objects.filter(name="Otter Kitchen").exists()
    assert make_quote(gift_sheet_again()).ref == "Q-001"


def gift_sheet_again():
    return Sheet.objects.get(name="Song A4")


def test_numbers_follow_each_other_and_none_comes_twice(studio):
    sheet = gift_sheet()
    first, second = make_quote(sheet), make_quote(sheet)
    quoting.decline(second, by=None)
    Quote.objects.filter(pk=second.pk).delete()
    assert [first.ref, second.ref, make_quote(sheet).ref] == ["Q-001", "Q-002", "Q-003"]


@pytest.mark.parametrize("state", ["making", "sent", "closed", "withdrawn"])
def test_what_is_begun_or_over_is_not_quoted_for(studio, state):
    with pytest.raises(StudioError, match=r"C-101 is .*quotes are for what is not begun yet"):
        quoting.from_commission(enquiry(state=state), today())


def test_too_many_numbers_for_a_page_are_refused(studio):
    with pytest.raises(ValidationError, match="at most 5 other numbers"):
        make_quote(gift_sheet(), other_quantities=[1, 2, 3, 4, 5, 6])


def test_remarks_of_too_many_lines_for_a_page_are_refused(studio):
    make_quote(gift_sheet(), remarks="\n".join("abcdefgh"))
    with pytest.raises(ValidationError, match=r"at most 8 lines.* these are 9"):
        make_quote(gift_sheet_again(), remarks="\n".join("abcdefghi"))


@pytest.mark.parametrize("numbers", [["10"], [0], [True], [1.5], "10, 20"])
def test_other_numbers_are_whole_numbers_of_sheets(studio, numbers):
    with pytest.raises(ValidationError, match="whole numbers of sheets"):
        make_quote(gift_sheet(), other_quantities=numbers)


# --- changed while it is a draft


def test_a_draft_is_changed_and_reckoned_anew(draft):
    draft.good_quantity = 50
    quoting.change(draft, by=None)
    assert now(draft).good_quantity == 50
    assert quoting.shown(now(draft), today()).chosen.each_minor == 360


def test_what_is_issued_is_not_changed(issued):
    issued.good_quantity = 50
    with pytest.raises(StudioError, match="Q-001 is issued, so nothing in it is changed"):
        quoting.change(issued, by=None)
    assert now(issued).good_quantity == 20


# --- issued and frozen


def test_an_enquiry_is_quoted_once_its_quote_is_issued(issued, asked):
    asked.refresh_from_db()
    assert asked.state == Commission.State.QUOTED
    assert issued.state == State.ISSUED


def test_what_is_agreed_already_stays_agreed(studio):
    asked = enquiry()
    quote = quoting.draft(quoting.from_commission(asked, today()), by=None)
    Commission.objects.update(state="agreed")
    quoting.issue(quote, by=None)
    asked.refresh_from_db()
    assert asked.state == Commission.State.AGREED


def turn_the_studio_over(quote):
    """Change all that a quote is reckoned from, and every name in it."""
    plain_studio(
        name="Another House", hourly_rate_minor=9900, price_rate=Decimal("0.6"), units="US",
        tax_rate=Decimal("0.4"), quote_includes="Nothing.", quote_days=3, currency="EUR",
    )  # fmt: skip
    Client.objects.update(name="Somebody Else")
    Sheet.objects.update(
        name="Other sheet", width_um=111_000, grammage=Decimal(222), broke=Decimal("0.3"),
        edges="trimmed", minutes_per_pull=Decimal(60),
    )  # fmt: skip
    Lot.objects.update(paid_minor=9_999_999)
    part = FurnishPart.objects.get(furnish=quote.sheet.furnish_id)
    type(part.fibre).objects.filter(pk=part.fibre_id).update(
        name="Other fibre", source_class="post-consumer", family="waste paper"
    )
    Commission.objects.update(title="Other title", good_quantity=1)


def test_nothing_that_changes_later_alters_what_was_issued(issued):
    before = quoting.shown(now(issued), today()).to_json()
    turn_the_studio_over(issued)
    # A draft is reckoned with what is now; the issued one is as it was.
    assert quoting.live(now(issued), today()).to_json() != before
    assert quoting.shown(now(issued), today()).to_json() == before
    assert json.loads(json.dumps(before)) == QuoteDocument.objects.get().body


def test_the_working_is_kept_with_the_prices(issued):
    turn_the_studio_over(issued)
    price = quoting.shown(now(issued), today()).chosen
    labour = next(line for line in price.working if line.label.startswith("Hours"))
    # 20 sheets: three hours at 24.00, 72.00, 3.60 each.
    assert labour.value == "£3.60"
    assert "3.00\u00a0h at £24.00" in labour.because


def test_a_row_of_issued_quotes_is_written_once(issued):
    kept = QuoteDocument.objects.get()
    kept.ref = "Q-999"
    with pytest.raises(StudioError, match="A row of the book of issued quotes is never changed"):
        kept.save()
    with pytest.raises(StudioError, match="never changed or removed"):
        QuoteDocument.objects.all().delete()


def test_one_entry_for_each_deed(asked):
    quote = quoting.draft(quoting.from_commission(asked, today()), by=None)
    before = Entry.objects.count()
    quoting.issue(quote, by=None)
    assert Entry.objects.count() == before + 1
    assert Entry.objects.latest("pk").said == "Issued Q-001 Song sheets"
    quoting.accept(quote, 20, by=None)
    assert Entry.objects.count() == before + 2


def test_no_entry_names_an_amount(issued):
    quoting.accept(issued, 20, by=None)
    said = " ".join(Entry.objects.values_list("said", flat=True))
    assert "Q-001" in said
    assert "£" not in said
    assert "4.50" not in said


def test_issued_twice_with_one_key_is_issued_once(draft):
    key = uuid.uuid4()
    quoting.issue(draft, by=None, key=key)
    with pytest.raises(AlreadyEnteredError) as repeat:
        quoting.issue(draft, by=None, key=key)
    assert repeat.value.entry.page == "/quotes/Q-001/"
    assert QuoteDocument.objects.count() == 1


def test_issued_again_with_another_key_is_refused(issued):
    with pytest.raises(StudioError, match="Q-001 is issued; only a draft is issued"):
        quoting.issue(issued, by=None)
    assert QuoteDocument.objects.count() == 1


def test_a_quote_that_would_be_over_is_not_issued(draft):
    Quote.objects.update(valid_until=day(1))
    with pytest.raises(
        StudioError, match=r"that day is over\. Give today or a later day"
    ) as fault:
        quoting.issue(draft, by=None)
    assert fault.value.field == "valid_until"
    assert now(draft).state == State.DRAFT


def test_a_price_that_is_not_known_has_to_be_let_go_by_word(studio):
    quote = make_quote(make_sheet(make_furnish({make_fibre(name="Kozo"): "1"})))
    with pytest.raises(StudioError, match="No price is known for Kozo: counted as nothing") as no:
        quoting.issue(quote, by=None)
    assert no.value.field == "without_price"
    quoting.issue(quote, without_price=True, by=None)
    assert quoting.shown(now(quote), today()).missing == ("Kozo",)


def test_a_refused_issue_leaves_the_enquiry_as_it_was(studio):
    asked = enquiry(make_sheet(make_furnish({make_fibre(name="Kozo"): "1"})))
    quote = quoting.draft(quoting.from_commission(asked, today()), by=None)
    with pytest.raises(StudioError):
        quoting.issue(quote, by=None)
    asked.refresh_from_db()
    assert asked.state == Commission.State.ENQUIRY
    assert not QuoteDocument.objects.exists()


def test_a_draft_for_another_sheet_than_the_commission_has_now_is_not_issued(draft, asked):
    asked.sheet = make_sheet()
    asked.save()
    with pytest.raises(StudioError, match="C-101 is for another sheet now than Q-001 offers"):
        quoting.issue(draft, by=None)


# --- what it says of the fibre


def scrap_sheet(share="0.85"):
    given = make_fibre(
        name="White office paper", source_class="post-consumer", family="waste paper"
    )
    bags = make_fibre(name="Flax", family="bast")
    for fibre in (given, bags):
        make_lot(fibre, paid_minor=0)
    rest = str(1 - Decimal(share))
    return make_sheet(make_furnish({given: share, bags: rest}), name="Note A5")


def test_recycled_content_is_of_the_furnish_and_to_be_confirmed(studio):
    words = quoting.shown(make_quote(scrap_sheet()), today()).words
    assert words.recycled == (
        "85\u00a0% recycled by mass of fibre, all of that post-consumer, as planned, to be "
        "confirmed from what goes into the vat."
    )


def test_own_broke_is_not_counted_as_recycled(studio):
    broke = make_fibre(name="Own broke", source_class="in-house", family="broke")
    given = make_fibre(name="Office", source_class="post-consumer", family="waste paper")
    sheet = make_sheet(make_furnish({given: "0.75", broke: "0.25"}))
    words = quoting.shown(make_quote(sheet), today()).words
    assert words.recycled.startswith("75\u00a0% recycled")
    assert "Own broke and heel is 25\u00a0% of it and does not count as recycled" in words.recycled


def test_a_claim_that_the_furnish_does_not_reach_is_doubted(studio):
    sheet = scrap_sheet("0.75")
    asked = enquiry(sheet, claim_recycled=Decimal("0.8"))
    quote = quoting.draft(quoting.from_commission(asked, today()), by=None)
    assert quoting.claim_doubt(quote) == (
        "C-101 Song sheets asks for at least 80\u00a0% recycled, and the furnish has 75\u00a0%."
    )
    Commission.objects.update(claim_recycled=Decimal("0.75"))
    assert quoting.claim_doubt(now(quote)) == ""


def test_permanence_is_aimed_at_and_never_claimed(studio):
    words = quoting.shown(make_quote(gift_sheet()), today()).words
    assert words.permanence == (
        "To be made with Given linter. Aimed at permanence, not tested to ISO\u00a09706."
    )


def test_no_permanence_is_aimed_at_where_wood_may_be_in_it(studio):
    words = quoting.shown(make_quote(scrap_sheet()), today()).words
    assert "No claim of permanence" in words.permanence


def test_both_can_be_left_out(studio):
    quote = make_quote(scrap_sheet(), says_recycled=False, says_permanence=False)
    words = quoting.shown(quote, today()).words
    assert (words.recycled, words.permanence) == ("", "")
