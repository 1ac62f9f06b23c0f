"""Carriage on a quote: whether it is in the price, what it comes to, and how that is kept."""

from dataclasses import replace
from decimal import Decimal
from importlib import import_module
from types import SimpleNamespace

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from fibres.models import Lot
from orders import actuals, quoting
from orders.calc.quotation import Carriage, Quotation, price_of
from orders.makings import finish, log
from orders.models import Making, Quote, QuoteDocument
from tests.builders import KG, make_making, make_quote
from tests.orders.looking import form_data, look, said
from tests.orders.quotings import cost_at, drafted, enquiry, gift_sheet, offered, plain_studio
from tests.orders.vatdays import count

NBSP = "\u00a0"
ADDED = Carriage("added", 1250)


def read(client, address):
    """Return the words of a page, each parted by one blank."""
    return " ".join(said(look(client, address)).split())


def taxed(sheets, each_minor, rate="0.2"):
    """Return a cost with the tax on its sheets alone."""
    tax = int(sheets * each_minor * Decimal(rate))
    return replace(cost_at(sheets, each_minor, tax), tax_rate=Decimal(rate))


# --- reckoned, by hand -------------------------------------------------------------------------


def test_carriage_is_added_once_and_taxed_with_the_sheets():
    # By hand: 20 at 4.50 are 90.00; with 12.50 of carriage 102.50, a fifth of tax 20.50: 123.00.
    price = price_of(
        taxed(20, 450), tolerance_over=Decimal(0), deposit=Decimal("0.5"), carriage=ADDED
    )
    assert (price.total_minor, price.carriage_minor, price.tax_minor) == (9000, 1250, 2050)
    assert (price.to_pay_minor, price.deposit_minor) == (12_300, 6150)
    assert [(line.label, line.value) for line in price.working[-4:]] == [
        ("Sheets in all", "£90.00"), ("Carriage", "£12.50"), ("Tax", "£20.50"),
        ("To pay", "£123.00"),
    ]  # fmt: skip
    assert [line.kind for line in price.working].count("answer") == 1


@pytest.mark.parametrize("how", ["unsaid", "apart", "within"])
def test_only_carriage_that_is_added_is_paid_beside_the_sheets(how):
    carriage = Carriage(how, 1250 if how == "within" else 0)
    price = price_of(
        taxed(20, 450), tolerance_over=Decimal(0), deposit=Decimal(0), carriage=carriage
    )
    assert (price.carriage_minor, price.to_pay_minor) == (0, 10_800)
    told = [line.because for line in price.working if line.label == "Carriage"]
    assert told == (["included: paid out of the price"] if how == "within" else [])


@given(
    sheets=st.integers(1, 5000),
    each=st.integers(0, 100_000),
    minor=st.integers(1, 1_000_000),
    rate=st.sampled_from(["0", "0.2", "0.0825", "0.075"]),
)
def test_what_is_to_pay_adds_up_and_is_rounded_once(sheets, each, minor, rate):
    price = price_of(
        taxed(sheets, each, rate),
        tolerance_over=Decimal(0),
        deposit=Decimal(0),
        carriage=Carriage("added", minor),
    )
    before = sheets * each + minor
    assert price.to_pay_minor == before + price.tax_minor
    assert abs(price.tax_minor - before * Decimal(rate)) <= Decimal("0.5")


# --- said --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("how", "minor", "rate", "words"),
    [
        ("unsaid", 0, "0.2", ""),
        ("apart", 0, "0.2", "Carriage is not included: you fetch the sheets, or pay who brings "
                            "them."),
        ("within", 900, "0.2", "Carriage is included."),
        ("added", 900, "0.2", "Carriage is added: £9.00 before tax, the same for any number named "
                              "here."),
        ("added", 900, "0", "Carriage is added: £9.00, the same for any number named here."),
    ],
)  # fmt: skip
def test_the_letter_says_what_is_in_the_price(how, minor, rate, words):
    found = offered(carriage=Carriage(how, minor), tax_rate=Decimal(rate))
    assert found.words.carriage == words


@pytest.mark.parametrize(
    ("carriage", "rate", "words"),
    [
        (Carriage(), "0", ""),
        (Carriage(), "0.2", "Tax is in what there is to pay, not in the price of each."),
        (ADDED, "0", "Carriage is in what there is to pay, not in the price of each."),
        (ADDED, "0.2", "Carriage and tax are in what there is to pay, not in the price of each."),
    ],
)
def test_what_is_beside_the_price_is_named(carriage, rate, words):
    assert offered(carriage=carriage, tax_rate=Decimal(rate)).beside_words == words


def test_a_rate_of_tax_is_said_with_all_its_digits():
    assert offered(tax_rate=Decimal("0.0825")).words.tax == f"Tax of 8.25{NBSP}% is added."


def test_a_quote_with_carriage_comes_back_as_it_was_kept():
    found = offered(taxed(60, 654), carriage=ADDED, tax_rate=Decimal("0.2"))
    assert Quotation.from_json(found.to_json()) == found


def test_a_quote_that_was_issued_before_says_nothing_of_carriage():
    body = offered().to_json()
    del body["carriage"]
    del body["words"]["carriage"]
    for price in body["prices"]:
        del price["carriage_minor"]
    found = Quotation.from_json(body)
    assert (found.terms.carriage, found.words.carriage) == (Carriage(), "")
    assert found.chosen.carriage_minor == 0


# --- drawn up, issued, ordered -----------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("how", "minor", "fault"),
    [
        ("added", None, "Give what carriage comes to, more than 0"),
        ("added", 0, "Give what carriage comes to, more than 0"),
        ("apart", 500, "Say above that carriage is added or included"),
        ("unsaid", 500, "Say above that carriage is added or included"),
    ],
)
def test_an_amount_goes_with_what_is_said_of_it(how, minor, fault):
    plain_studio()
    quote = make_quote(gift_sheet())
    quote.carriage, quote.carriage_minor = how, minor
    with pytest.raises(ValidationError) as refused:
        quote.full_clean()
    assert fault in refused.value.message_dict["carriage_minor"][0]


@pytest.fixture
def issued(db):
    plain_studio()
    quote = drafted(enquiry())
    quote.carriage, quote.carriage_minor = Quote.Carriage.ADDED, 1250
    quoting.change(quote, by=None)
    return quoting.issue(quote, by=None)


def test_carriage_is_a_line_of_the_letter_and_stays(owner_client, issued):
    Quote.objects.update(carriage="apart", carriage_minor=None)
    text = read(owner_client, issued.get_absolute_url())
    assert "Carriage 12.50 Tax, 20 % 20.50 To pay 123.00" in text
    assert "Carriage is added: £12.50 before tax" in text
    assert "Tax = (in all + carriage) × the tax rate" in text
    assert "Carriage and tax are in what there is to pay" in text
    # By hand: 10 at 6.00 and 12.50, a fifth more: 87.00.
    assert "10 6.00 87.00" in text


def test_the_form_takes_carriage_and_says_what_is_amiss(owner_client, db):
    plain_studio()
    quote = drafted(enquiry())
    address = f"{quote.get_absolute_url()}edit/"
    page = look(owner_client, address)
    refused = owner_client.post(address, form_data(page, carriage="added", carriage_minor=""))
    assert "Give what carriage comes to, more than 0" in refused.content.decode()
    owner_client.post(address, form_data(page, carriage="added", carriage_minor="12.50"))
    quote.refresh_from_db()
    assert (quote.carriage, quote.carriage_minor) == ("added", 1250)


def test_a_new_issue_takes_carriage_over(issued):
    new = quoting.reissue(issued, quoting.again(issued, timezone.localdate()), by=None)
    assert (new.carriage, new.carriage_minor) == ("added", 1250)
    assert quoting.shown(new, timezone.localdate()).chosen.to_pay_minor == 12_300


# --- the number that was ordered ---------------------------------------------------------------


def test_the_number_that_was_ordered_stays_with_the_quote(owner_client, issued):
    agreed = quoting.accept(issued, 50, by=None)
    agreed.good_quantity = 45
    agreed.save()
    issued.refresh_from_db()
    assert issued.accepted_quantity == 50
    text = read(owner_client, issued.get_absolute_url())
    # By hand: 60 + 50 × 6 minutes are 144.00, 180.00 with a fifth kept; 3.60 each. With 12.50
    # of carriage and a fifth of tax 231.00.
    assert "Accepted: 50 good sheets at £3.60 each, £231.00 to pay." in text
    assert "C-101 stands at 45 good sheets at £3.60 each." in text
    assert "Ordered 50 good sheets" in text


def test_the_list_shows_the_number_that_was_ordered_and_its_price(owner_client, issued):
    assert "20 90.00" in read(owner_client, "/quotes/")
    quoting.accept(issued, 50, by=None)
    assert "50 180.00" in read(owner_client, "/quotes/")


@pytest.mark.parametrize(
    ("good", "each", "number"),
    [
        (50, 360, 50),
        # The number was changed since: the price still tells it.
        (45, 360, 50),
        # Neither tells it.
        (45, 400, None),
        (50, 400, None),
    ],
)
def test_quotes_accepted_before_are_given_their_number(issued, good, each, number):
    agreed = quoting.accept(issued, 50, by=None)
    agreed.good_quantity, agreed.agreed_price_minor = good, each
    agreed.save()
    Quote.objects.update(accepted_quantity=None)
    step = import_module("orders.migrations.0008_fill_numbers_of_accepted_quotes")
    apps = SimpleNamespace(
        get_model=lambda app, name: {"Quote": Quote, "QuoteDocument": QuoteDocument}[name]
    )
    step.fill(apps, SimpleNamespace(connection=SimpleNamespace(alias="default")))
    issued.refresh_from_db()
    assert issued.accepted_quantity == number


# --- what it was quoted on, beside what came -----------------------------------------------------


@pytest.fixture
def made(db):
    """Return what makes 20 sheets of an accepted quote, formed in so many minutes."""
    plain_studio()
    quote = quoting.issue(drafted(enquiry()), by=None)
    agreed = quoting.accept(quote, 20, by=None)

    def make(minutes):
        making = log.start(make_making(commission=agreed, mould=None), by=None)
        lot = Lot.objects.get()
        log.issue(making, lot, as_is_mg=KG // 2, by=None)
        count(making, pulls=20, good=20)
        log.spend(making, "set up", Decimal(60), by=None)
        log.spend(making, "form", Decimal(minutes), by=None)
        log.note_heel(making, Making.Heel.NONE, by=None)
        finish.finish(making, by=None)
        return agreed

    return make


@pytest.mark.parametrize(
    ("minutes", "beside"),
    [
        # By hand: quoted on 60 + 20 × 6 minutes at 24.00 an hour, 72.00, which is 3.60 each; an
        # hour more is 24.00, 1.20 each.
        (180, "Q-001 reckoned with £3.60 a good sheet, at 20: it came to £1.20 more."),
        (120, "Q-001 reckoned with £3.60 a good sheet, at 20: it came to as much."),
        (60, "Q-001 reckoned with £3.60 a good sheet, at 20: it came to £1.20 less."),
    ],
)
def test_what_came_stands_beside_what_was_quoted(owner_client, made, minutes, beside):
    agreed = made(minutes)
    # What the studio pays since is another matter: the quote keeps its own.
    plain_studio()
    assert beside in read(owner_client, agreed.get_absolute_url())
    told = actuals.of_commission(agreed).as_json()
    assert (told["quote"], told["per_sheet_quoted"], told["quoted_sheets"]) == ("Q-001", 3.6, 20)


def test_a_quote_whose_number_is_not_known_stands_beside_nothing(made):
    agreed = made(120)
    Quote.objects.update(accepted_quantity=None)
    assert actuals.quoted_for(agreed) is None
    assert "quote" not in actuals.of_commission(agreed).as_json()
