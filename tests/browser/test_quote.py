"""From the Bench to an agreed commission by way of a printed quote, on a phone."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest

from orders import quoting
from orders.models import Commission, Quote, Sheet
from studio import people
from tests.browser.screen import overhang
from tests.builders import make_fibre, make_furnish, make_lot, make_quote, make_sheet
from tests.orders.quotings import gift_sheet, in_days, plain_studio

pytestmark = pytest.mark.django_db(transaction=True)
# One leaf of the document's tree of pages; the tree itself is of type Pages.
LEAF = re.compile(rb"/Type\s*/Page\b(?!s)")
BOX = re.compile(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]")
MM_PER_POINT = 25.4 / 72
SIZES = {"A4": (210, 297), "Letter": (216, 279)}


@pytest.fixture
def owner(transactional_db: None) -> Any:
    plain_studio()
    return people.make_owner("ann", None)


def printed(page: Any, paper: str) -> bytes:
    """Print the page in a size of paper, and look whether it is that size."""
    pdf: bytes = page.pdf(format=paper, prefer_css_page_size=False)
    box = BOX.search(pdf)
    assert box
    assert tuple(round(float(side) * MM_PER_POINT) for side in box.groups()) == SIZES[paper]
    return pdf


def on_paper(page: Any) -> str:
    """Return what stands on the printed page."""
    page.emulate_media(media="print")
    words = page.locator("main").inner_text()
    page.emulate_media(media="screen")
    return str(words)


@pytest.mark.parametrize("script", [False, True])
def test_from_the_bench_to_an_agreed_commission(visit: Any, owner: Any, script: bool) -> None:
    gift_sheet()
    page = visit("/bench/#takes", width=360, user=owner, script=script)
    section = page.locator("#takes")
    section.get_by_label("Good sheets").fill("20")
    section.get_by_label("Dry size").fill("A5")
    section.get_by_role("button", name="Work it out").click()
    page.locator("#takes").get_by_role("link", name="Quote this").click()
    assert overhang(page) == 0

    page.get_by_label("Or a new client").fill("Otter Kitchen")
    page.get_by_label("What it is for").fill("Menus for a supper")
    page.get_by_label("Name of the new sheet").fill("Menu A5")
    page.get_by_label("Furnish", exact=True).select_option(label="All given linter")
    page.get_by_label("Priced at other numbers too").fill("10, 50")
    page.get_by_label("Remarks to the client").fill("Two sample sheets first.")
    page.get_by_role("button", name="Work it out").click()
    # 23 pulls for 20 good ones, 8 % broke and 4 % retree: 60 + 23 × 6 minutes are 79.20, 3.96
    # each, and 4.95 with a fifth of the price kept; 20 of them are 99.00.
    page.get_by_text("£99.00").first.wait_for(timeout=5000)
    assert not Quote.objects.exists()
    page.get_by_role("button", name="Keep the draft").click()

    assert page.url.endswith("/quotes/Q-001/")
    assert overhang(page) == 0
    assert "Draft, not an offer yet" in page.locator("article").inner_text()
    page.get_by_role("button", name="Issue it").click()
    page.get_by_text("Print the letter and send it.").wait_for(timeout=5000)
    assert overhang(page) == 0
    letter = page.locator("article").inner_text()
    # 99.00, a fifth of tax 19.80, in all 118.80, half of it on order.
    for figure in ("4.95", "99.00", "19.80", "118.80", "£59.40", "Menu A5", "Otter Kitchen"):
        assert figure in letter

    if script:
        for paper in SIZES:
            assert len(LEAF.findall(printed(page, paper))) == 1
    words = on_paper(page)
    assert "118.80" in words
    assert "Cost of a good sheet" not in words
    assert "margin" not in words
    # What the page says to the studio is not for the client.
    assert "is issued" not in words

    page.get_by_role("link", name="It is accepted").click()
    assert overhang(page) == 0
    page.get_by_label("20 at £4.95").check()
    page.get_by_label("Due").fill(in_days(30).isoformat())
    page.get_by_role("button", name="Agree the commission").click()
    agreed = Commission.objects.get()
    assert page.url.endswith(f"/commissions/{agreed.ref}/")
    assert overhang(page) == 0
    assert "£4.95 a good sheet was agreed by Q-001." in page.locator("#quotes").inner_text()
    assert (agreed.state, agreed.agreed_price_minor) == ("agreed", 495)


def crowded() -> Quote:
    """Issue a quote with as much on it as its form takes."""
    parts = {
        make_fibre(name="Cotton linter, sheet pulp", family="seed hair"): "0.4",
        make_fibre(name="Flax half-stuff, beaten long", family="bast"): "0.3",
        make_fibre(
            name="White office paper, one side printed", family="waste paper",
            source_class="post-consumer",
        ): "0.2",
        make_fibre(name="Own broke of the year before", family="broke", source_class="in-house"):
            "0.1",
    }  # fmt: skip
    for fibre in parts:
        make_lot(fibre, paid_minor=12_345)
    furnish = make_furnish(parts, name="Endpapers, long and soft")
    for name, kind in (("Chalk", "filler"), ("Blue ochre", "pigment"), ("Ketene size", "sizing")):
        furnish.additions.create(name=name, kind=kind, dose=Decimal("0.02"), minor_per_kg=350)
    sheet = make_sheet(furnish, name="Endpapers for the county atlas, 457 × 610 mm, 200 g/m²")
    words = "Packed flat and interleaved in bundles of fifty, wrapped for the damp. " * 7
    plain_studio(name="The Paper Mill and Vat House at the Upper Weir of Tallow")
    return make_quote(
        sheet, title="Endpapers for the county atlas, both volumes and the index, bound",
        good_quantity=120, other_quantities=[25, 50, 250, 500, 1000], is_issued=True,
        includes=words[:298], remarks=words[:490].replace(". ", ".\n"), send_on=in_days(40),
        tolerance_over=Decimal("0.1"), carriage="added", carriage_minor=1850,
    )  # fmt: skip


@pytest.mark.parametrize("paper", SIZES)
def test_a_crowded_quote_is_one_page(visit: Any, owner: Any, paper: str) -> None:
    quote = crowded()
    page = visit(quote.get_absolute_url(), user=owner, theme="dark")
    assert len(LEAF.findall(printed(page, paper))) == 1


def as_long_as_usual_type_takes(more: str, **changes: Any) -> Quote:
    """Issue a taxed quote whose remarks go on until one more of them would want smaller type."""
    plain_studio()
    quote = make_quote(
        gift_sheet(), good_quantity=120, other_quantities=[25, 50, 250, 500, 1000],
        send_on=in_days(40), tolerance_over=Decimal("0.1"), **changes,
    )  # fmt: skip
    quote.remarks = more
    while not quoting.live(quote, in_days(0)).is_long:
        quote.remarks += more
    quote.remarks = quote.remarks.removesuffix(more)
    quote.save()
    quoting.issue(quote, by=None)
    return quote


CARRIED = {"carriage": "added", "carriage_minor": 1850, "says_permanence": False}


@pytest.mark.parametrize("more", ["Wrap them for the damp. ", "Bring:\n"])
@pytest.mark.parametrize("changes", [{}, CARRIED], ids=["plain", "carried"])
def test_a_quote_in_the_usual_type_is_one_page(
    visit: Any, owner: Any, changes: dict[str, Any], more: str
) -> None:
    quote = as_long_as_usual_type_takes(more, **changes)
    page = visit(quote.get_absolute_url(), user=owner)
    assert "dense" not in (page.locator("article").get_attribute("class") or "")
    for paper in SIZES:
        assert len(LEAF.findall(printed(page, paper))) == 1, paper
    # The number that was ordered since stands on the letter too.
    quoting.accept(Quote.objects.get(), 250, by=None)
    page.reload()
    assert "250 good sheets" in page.locator("article").inner_text()
    for paper in SIZES:
        assert len(LEAF.findall(printed(page, paper))) == 1, paper


def test_the_printed_page_stays_as_it_was_issued(visit: Any, owner: Any) -> None:
    quote = make_quote(gift_sheet(), is_issued=True, good_quantity=20)
    page = visit(quote.get_absolute_url(), user=owner)
    before = on_paper(page)
    plain_studio(name="Another House", hourly_rate_minor=9900, tax_rate=Decimal(0), units="US")
    Sheet.objects.update(name="Other sheet", grammage=Decimal(222))
    quote.client.name = "Somebody Else"
    quote.client.save()
    page.reload()
    assert on_paper(page) == before
    assert "Somebody Else" not in before
