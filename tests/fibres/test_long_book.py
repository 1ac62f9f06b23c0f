"""A lot whose book is long: it opens where it was written last, and its sums are those of all."""

import pytest

from fibres import ledger
from fibres.models import Movement
from fibres.views.lots import LINES_ON_A_PAGE
from studio.entries import acting, enter
from tests.builders import KG, day, make_lot
from tests.orders.looking import look, said

pytestmark = pytest.mark.django_db
# With the receipt, a page and a line.
TAKEN = LINES_ON_A_PAGE


@pytest.fixture
def lot(db):
    """9.2 kg oven-dry, of which 10 g are taken a hundred times."""
    lot = make_lot(as_is_mg=10 * KG, moisture="0.08")
    with acting():
        for number in range(TAKEN):
            entry = enter(
                "take out", f"Taken {number}", page=lot.get_absolute_url(), key=None, by=None
            )
            ledger.post(lot, Movement.Kind.ISSUED, -10_000, happened_on=day(1), entry=entry)
    return lot


def rows(page, caption):
    """Return how many lines the table with this caption has."""
    (table,) = [table for table in page.all("table") if table.text.strip().startswith(caption)]
    return table.text.count("Issued"), table.text.count("Received")


def test_a_long_book_opens_on_its_last_page(owner_client, lot):
    page = look(owner_client, lot.get_absolute_url())
    assert f"Page 2 of 2, {TAKEN + 1} rows" in said(page)
    assert rows(page, "Every line stays") == (1, 0)


def test_its_first_page_is_a_step_away(owner_client, lot):
    page = look(owner_client, lot.get_absolute_url(), **{"book-page": "1"})
    assert rows(page, "Every line stays") == (TAKEN - 1, 1)


def test_what_is_explained_counts_every_line(owner_client, lot):
    words = said(look(owner_client, lot.get_absolute_url()))
    # By hand: 9.2 kg came, a hundred times 10 g went, 8.2 kg is left.
    assert "9.20 kg" in words
    assert "−1.00 kg" in words
    assert "8.20 kg oven-dry is left of 9.20 kg received." in words
