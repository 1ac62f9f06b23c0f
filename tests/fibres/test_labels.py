"""Labels of lots: their codes, read back, open the page of the lot."""

import pytest
from django.urls import reverse

from fibres import services
from fibres.models import Lot
from fibres.views.labels import MOST_LABELS
from tests.builders import KG, day, make_fibre, make_lot, make_source
from tests.fibres.pages import see, told
from tests.studio.qr_reader import read

pytestmark = pytest.mark.django_db
SHEET = "/lots/labels/"


def codes(page):
    """Return the addresses that the codes of a page hold."""
    sides = [int(one.attrs["viewbox"].split()[2]) for one in page.all("svg", class_="qr")]
    paths = [one.attrs["d"] for one in page.all("path", fill="#000")]
    return [read(path, side) for path, side in zip(paths, sides, strict=True)]


def test_code_of_a_label_opens_the_page_of_the_lot(viewer_client):
    lot = make_lot(make_fibre(name="Abaca sheet"), place="Shelf B2", form="Dry sheet")
    page = see(viewer_client, reverse("lot_label", args=[lot.ref]))
    (address,) = codes(page)
    assert address == f"http://testserver{lot.get_absolute_url()}"
    opened = see(viewer_client, address.removeprefix("http://testserver"))
    assert f"{lot.ref} Abaca sheet" in opened.told
    assert f"{lot.ref} Abaca sheet, dry sheet Shelf B2 Received" in page.told
    assert page.one("svg", class_="qr").attrs["aria-label"] == f"QR code: opens lot {lot.ref}"


def test_codes_lead_to_the_name_under_which_the_page_was_asked_for(viewer_client, settings):
    settings.ALLOWED_HOSTS = ["paper.example"]
    lot = make_lot()
    response = viewer_client.get(SHEET, headers={"host": "paper.example:8000"})
    html = response.content.decode()
    assert "The codes lead to http://paper.example:8000/" in html
    path = html.partition('<path fill="#000" d="')[2].partition('"')[0]
    side = int(html.partition('class="qr" viewBox="0 0 ')[2].split()[0])
    assert read(path, side) == f"http://paper.example:8000{lot.get_absolute_url()}"


def test_sheet_has_a_label_for_each_lot_that_holds_something_by_place(viewer_client):
    tub, shelf, used_up = make_lot(place="Tub 4"), make_lot(place="Shelf B2"), make_lot()
    services.take_out(used_up, as_is_mg=10 * KG, kind="issued", happened_on=day(), why="", by=None)
    found = codes(see(viewer_client, SHEET))
    assert found == [f"http://testserver{lot.get_absolute_url()}" for lot in (shelf, tub)]


def test_sheet_is_narrowed_as_the_list_of_lots_is(viewer_client):
    make_lot(place="Tub 4")
    shelf = make_lot(place="Shelf B2")
    listed = see(viewer_client, "/lots/?place=Shelf+B2")
    links = [link.attrs["href"] for link in listed.all("a", class_="do")]
    assert links == [f"{SHEET}?place=Shelf+B2"]
    assert codes(see(viewer_client, links[0])) == [f"http://testserver{shelf.get_absolute_url()}"]


def test_label_says_what_a_finder_must_know_and_names_no_donor(viewer_client):
    donor = make_source(name="Quarry School", kind="donor")
    lot = make_lot(
        make_fibre(keeps_wet_days=14),
        donor,
        moisture="0.8",
        is_wet=True,
        is_confidential=True,
        received_on=day(0),
    )
    page = see(viewer_client, reverse("lot_label", args=[lot.ref]))
    until = lot.keep_until
    assert f"Use by {until.day} {until:%b %Y}" in page.told
    assert "May show private papers: keep locked up" in page.told
    assert "Quarry School" not in page.told


def test_too_many_labels_for_one_printing_are_told(viewer_client):
    first = make_lot()
    Lot.objects.bulk_create(
        Lot(
            ref=f"AB-{number:04d}", fibre=first.fibre, source=first.source, oven_dry_mg=KG,
            as_is_mg=KG, received_oven_dry_mg=KG, moisture=0, received_on=day(),
            measured="weighed", moisture_known="label",
        )
        for number in range(100, 100 + MOST_LABELS)
    )  # fmt: skip
    page = see(viewer_client, SHEET)
    assert len(page.all("svg", class_="qr")) == MOST_LABELS
    assert f"First {MOST_LABELS} lots." in told(page)


def test_page_of_a_lot_leads_to_its_label(viewer_client):
    lot = make_lot()
    page = see(viewer_client, lot.get_absolute_url())
    assert reverse("lot_label", args=[lot.ref]) in [a.attrs["href"] for a in page.all("a")]


@pytest.mark.parametrize("lots", [1, 20])
def test_sheet_takes_as_many_queries_however_many_labels(
    django_assert_max_num_queries, viewer_client, lots
):
    first = make_lot()
    for _ in range(lots - 1):
        make_lot(first.fibre, first.source)
    with django_assert_max_num_queries(9):
        viewer_client.get(SHEET)
