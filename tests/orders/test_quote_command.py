"""The command that prints a quote."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from orders import quoting
from tests.builders import make_fibre, make_furnish, make_quote, make_sheet
from tests.orders.quotings import gift_sheet, plain_studio

pytestmark = pytest.mark.django_db


def printed(*arguments):
    out = StringIO()
    call_command("quote", *arguments, stdout=out)
    return out.getvalue()


@pytest.fixture
def issued(db):
    plain_studio()
    return make_quote(
        gift_sheet(), is_issued=True, good_quantity=20, other_quantities=[10], title="Menus"
    )


def test_a_quote_is_printed_with_its_prices(issued):
    text = printed("q-001").replace("\u00a0", " ")
    assert text.startswith("Q-001 Menus: Issued\nReed Vat for Bramble Letterpress")
    # 10 × 6.00 and 20 × 4.50, each with a fifth of tax.
    assert "10 good sheets   £72.00  £6.00 each, tax £12.00 in it" in text
    assert "20 good sheets  £108.00  £4.50 each, tax £18.00 in it" in text
    assert "Aimed at permanence, not tested to ISO 9706." in text


def test_it_prints_what_was_issued_whatever_changed(issued):
    before = printed("Q-001")
    plain_studio(hourly_rate_minor=9900, name="Another House")
    assert printed("Q-001") == before


def test_json_holds_whole_minor_units(issued):
    told = json.loads(printed("Q-001", "--json"))
    assert (told["ref"], told["state"], told["lapsed"]) == ("Q-001", "issued", False)
    assert [price["total_minor"] for price in told["prices"]] == [6_000, 9_000]
    assert told["prices"][1]["working"][-1]["label"] == "Price of a good sheet"


def test_a_draft_names_the_price_it_does_not_know(db):
    plain_studio()
    make_quote(make_sheet(make_furnish({make_fibre(name="Kozo"): "1"})))
    assert "No price is known for Kozo: it is counted as nothing." in printed("Q-001")


def test_a_new_issue_names_the_one_before(issued):
    from django.utils import timezone

    quoting.reissue(issued, quoting.again(issued, timezone.localdate()), by=None)
    assert "In place of Q-001" in printed("Q-002")


def test_an_unknown_quote_is_one_line_that_names_those_there_are(issued):
    with pytest.raises(CommandError, match=r"No quote is called 'Q-100'\. .*Q-001"):
        printed("Q-100")
