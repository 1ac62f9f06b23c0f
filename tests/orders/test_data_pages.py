"""Pages that bring lists in and take them out: looked over, shown by row, entered on the word."""

from __future__ import annotations

import io
import os
import time

import openpyxl
import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fibres.models import Lot, Offer
from orders.exchange import LISTS
from orders.models import Client
from studio import background
from studio.files import desk, limits, taking, working
from studio.models import Entry
from tests.builders import make_fibre, make_lot, make_source, make_studio
from tests.exchange import text_of
from tests.fibres.pages import Sheet, faults, see, told, typed

pytestmark = pytest.mark.django_db
LOT = {"fibre": "Abaca", "source": "Yard", "received": "2026-03-14", "mass (kg)": "10"}
BRING = "/studio/data/lots/"


@pytest.fixture(autouse=True)
def at_once(monkeypatch):
    """Do at once what a page leaves to a thread."""
    monkeypatch.setattr(background, "in_background", lambda work, name: work())


@pytest.fixture
def store():
    make_studio(currency="GBP")
    return make_fibre(name="Abaca", code="AB"), make_source(name="Yard")


def upload(client, content, *, address=BRING, name="list.csv", **told):
    key = typed(see(client, address))["request_key"]
    file = SimpleUploadedFile(name, content)
    return client.post(
        address, {"request_key": key, "file": file, "sheet": "", "decimals": "", **told}
    )


def handed(client, content, **how):
    """Hand a file in and return the address and the page of what it comes to."""
    response = upload(client, content, **how)
    assert response.status_code == 302, faults(response)
    return response["Location"], see(client, response["Location"])


# --- in ---------------------------------------------------------------------------------------


def test_list_is_looked_over_then_entered(owner_client, store):
    where, page = handed(owner_client, text_of(LOT, {**LOT, "mass (kg)": "4"}))
    assert "Nothing is entered yet. It would be: 2 entered." in told(page)
    assert "Read as UTF-8 text, its cells parted by commas." in told(page)
    assert "Abaca from Yard, 4.00" in told(page)
    assert not Lot.objects.exists()
    response = owner_client.post(where, typed(page))
    assert response["Location"] == where
    done = see(owner_client, where)
    assert "Lots: 2 entered." in told(done)
    assert done.all("a", href="/lots/")
    assert Lot.objects.count() == 2
    assert Entry.objects.get(act="take in lots").said == "Took in lots from list.csv: 2 entered"
    # Sent once more, it is entered no second time.
    owner_client.post(where, typed(page))
    assert Lot.objects.count() == 2
    assert not (desk.handed(where.split("/")[-2]).folder / "file").exists()


def test_faults_are_a_table_by_row_and_column(owner_client, store):
    rows = text_of({**LOT, "source": "Yrd"}, {**LOT, "mass (kg)": "1,234"})
    _, page = handed(owner_client, rows)
    assert "2 faults in 2 rows: nothing was entered." in told(page)
    assert "2 source No source is called “Yrd”. Near it: Yard." in told(page).replace(
        "Row ", ""
    ).replace("Column ", "").replace("What is wrong ", "")
    assert "Enter all" not in told(page)


def test_first_two_hundred_faults_are_shown_and_all_counted(owner_client, store):
    _, page = handed(owner_client, text_of(*[{**LOT, "source": "Qx"}] * 205))
    assert "205 faults in 205 rows" in told(page)
    assert "And 5 more like these." in told(page)
    assert "201" in told(page)
    assert len(page.all("tr")) <= 202


def test_sign_of_decimals_and_sheet_are_asked(owner_client, store):
    _, page = handed(owner_client, text_of({**LOT, "mass (kg)": "1,234"}), decimals="comma")
    assert "1.23" in told(page)
    assert "It would be: 1 entered." in told(page)
    book = openpyxl.Workbook()
    sheet = book.create_sheet("Spring")
    sheet.append(list(LOT))
    sheet.append(list(LOT.values()))
    file = io.BytesIO()
    book.save(file)
    _, page = handed(owner_client, file.getvalue(), name="a.xlsx", sheet="Spring")
    assert "Read as a workbook, its sheet “Spring”." in told(page)


def test_words_beyond_plain_letters_are_shown_to_be_looked_at(owner_client, store):
    content = text_of({**LOT, "remarks": "für Zürich"}).decode().encode("latin-1")
    _, page = handed(owner_client, content)
    assert "Read as Latin-1 text" in told(page)
    assert "Look whether these words are right: für, Zürich." in told(page)


@pytest.mark.parametrize(
    ("content", "name", "said"),
    [
        (b"x\n1\n", "list.csv", "No column is called “x”."),
        (b"fibre\0", "list.csv", "The file is no text."),
        (b"PK\x03\x04", "list.xlsx", "The workbook cannot be read."),
        (b"\xd0\xcf\x11\xe0", "list.xlsx", "a workbook of the old kind, or one that is locked"),
    ],
)
def test_file_that_cannot_be_read_says_so(owner_client, store, content, name, said):
    _, page = handed(owner_client, content, name=name)
    assert said in told(page)
    assert "Nothing was entered." in told(page)


def test_file_has_to_be_chosen_and_not_too_large(owner_client, store, monkeypatch):
    key = typed(see(owner_client, BRING))["request_key"]
    assert "File: Choose a file." in faults(owner_client.post(BRING, {"request_key": key}))
    assert "File: The file is empty." in faults(upload(owner_client, b""))
    monkeypatch.setattr(limits, "MOST_PAGE_BYTES", 10)
    assert "The file is larger than" in faults(upload(owner_client, text_of(LOT)))


def test_same_list_needs_a_second_word(owner_client, store):
    for _ in range(2):
        where, page = handed(owner_client, text_of(LOT))
        response = owner_client.post(where, typed(page))
    assert "Tick this to enter it once more" in faults(response)
    assert Lot.objects.count() == 1
    owner_client.post(where, {**typed(page), "again": "on"})
    assert Lot.objects.count() == 2


def test_list_that_is_new_in_nothing_has_nothing_to_enter(owner_client, store):
    make_lot(*store)
    _, page = handed(owner_client, text_of({"name": "Yard"}), address="/studio/data/sources/")
    assert "Nothing in the list is new. There is nothing to enter." in told(page)
    assert "Enter all" not in told(page)


def test_what_changed_since_the_look_is_refused_and_can_be_mended(owner_client, store):
    where, page = handed(owner_client, text_of(LOT))
    type(store[1]).objects.update(name="Shed")
    owner_client.post(where, typed(page))
    after = see(owner_client, where)
    assert "No source is called “Yard”." in told(after)
    assert not Lot.objects.exists()


def test_offers_are_worded_with_their_breaks(owner_client, store):
    row = {"source": "Yard", "fibre": "Abaca", "pack (kg)": "5", "price": "9.40",
           "moisture (%)": "8", "breaks": "4: 8.50"}  # fmt: skip
    where, page = handed(owner_client, text_of(row), address="/studio/data/offers/")
    assert "£9.40 a kilogram as sold, from 4 packs £8.50" in told(page)
    owner_client.post(where, typed(page))
    assert Offer.objects.get().breaks.get().minor_per_kg == 850


# --- the work on it ---------------------------------------------------------------------------


def at_work(**changes):
    kept = desk.hand_in(
        [text_of(LOT)], slug="lots", name="list.csv", sheet="", decimals="", **changes
    )
    kept.note(stage=desk.ENTERING, done=250, of=1000, deed="entered")
    return kept


def test_progress_is_a_bar_that_asks_again_and_a_link_without_script(owner_client, store):
    kept = at_work()
    where = reverse("data_handed", args=[kept.token])
    page = see(owner_client, where)
    bar = page.all("progress")[0]
    assert (bar.attrs["value"], bar.attrs["max"]) == ("250", "1000")
    assert "250 of 1000 rows entered." in told(page)
    asked = reverse("data_progress", args=[kept.token])
    assert page.all("div", class_="progress")[0].attrs["hx-get"] == asked
    assert owner_client.get(asked)["Location"] == where
    kept.note(done=500)
    panel = owner_client.get(asked, headers={"HX-Request": "true"}).content.decode()
    assert "500 of 1000 rows entered." in panel
    kept.note(stage=desk.DONE, said="1000 entered", changes=[], changes_count=0, is_new=True)
    assert owner_client.get(asked, headers={"HX-Request": "true"})["HX-Refresh"] == "true"


def test_progress_is_noted_as_rows_are_read_and_written(store, owner, monkeypatch):
    monkeypatch.setattr(desk, "NOTED_EVERY_SECONDS", 0)
    monkeypatch.setattr(taking, "STEP", 2)
    monkeypatch.setattr("fibres.exchange.lotlist.STEP", 2)
    rows = [{**LOT, "mass (kg)": n + 1} for n in range(5)]
    kept = desk.hand_in([text_of(*rows)], slug="lots", name="a", sheet="", decimals="")
    seen = []
    monkeypatch.setattr(kept, "tell", lambda *told: seen.append(told))
    working.look_over(kept, LISTS["lots"])
    working.enter(kept, LISTS["lots"], owner, again=False)
    assert [one for one in seen if one[2] == "entered"] == [
        (2, 5, "entered"), (4, 5, "entered"), (5, 5, "entered"),
    ]  # fmt: skip
    assert Entry.objects.get(act="take in lots").by == owner


def test_work_whose_server_went_away_is_told_to_be_broken_off(owner_client, store, monkeypatch):
    kept = at_work()
    monkeypatch.setattr(desk, "LEFT_BEHIND_SECONDS", -1)
    page = see(owner_client, reverse("data_handed", args=[kept.token]))
    assert "was broken off, and nothing was entered" in told(page)


def test_fault_that_nobody_foresaw_is_told_and_logged(owner_client, store, monkeypatch, caplog):
    monkeypatch.setattr(working, "take_in", lambda *args, **how: 1 / 0)
    _, page = handed(owner_client, text_of(LOT))
    assert "nothing was entered. Look in the log." in told(page)
    assert "ZeroDivisionError" in caplog.text


def test_desk_is_cleared_after_a_day_and_unknown_tokens_are_not_found(owner_client, store):
    kept = at_work()
    assert kept.folder.stat().st_mode & 0o077 == 0
    desk.clear_out(now=time.time() + desk.KEPT_SECONDS + 60)
    assert not kept.folder.exists()
    for token in (kept.token, "x", "..", "a" * 26):
        assert owner_client.get(f"/studio/data/handed/{token}/").status_code == 404


def test_file_of_another_person_is_not_found(owner_client, client, store):
    where, page = handed(owner_client, text_of(LOT))
    other = get_user_model().objects.create_user("other owner", password="paper-vat-deckle")
    other.groups.add(Group.objects.get(name="owner"))
    client.force_login(other)
    assert client.get("/studio/data/").status_code == 200
    for address in (where, f"{where}progress/"):
        assert client.get(address).status_code == 404
    assert client.post(where, typed(page)).status_code == 404
    assert not Lot.objects.exists()


@pytest.mark.parametrize("content", [text_of({**LOT, "source": "Yrd"}), b"x\n1\n", text_of({})])
def test_file_that_cannot_be_entered_is_not_kept(owner_client, store, content):
    where, _ = handed(owner_client, content or b"\n")
    assert not (desk.handed(where.split("/")[-2]).folder / "file").exists()


def test_file_that_brings_nothing_new_or_was_refused_at_the_end_is_not_kept(owner_client, store):
    where, _ = handed(owner_client, text_of({"name": "Yard"}), address="/studio/data/sources/")
    assert not (desk.handed(where.split("/")[-2]).folder / "file").exists()
    where, page = handed(owner_client, text_of(LOT))
    type(store[1]).objects.update(name="Shed")
    owner_client.post(where, typed(page))
    assert not (desk.handed(where.split("/")[-2]).folder / "file").exists()


def test_what_a_day_ago_was_handed_in_goes_when_the_page_is_opened(owner_client, store):
    kept = at_work()
    long_ago = time.time() - desk.KEPT_SECONDS - 60
    os.utime(kept.folder, (long_ago, long_ago))
    see(owner_client, "/studio/data/")
    assert not kept.folder.exists()


def test_file_that_grows_too_large_while_it_comes_in_is_dropped(db):
    from studio.errors import StudioError

    sent = iter([b"x" * 10, b"y" * 10, b"z" * 10])
    folder = desk.settings.DATA_DIR / desk.FOLDER
    before = set(folder.iterdir()) if folder.is_dir() else set()
    with pytest.raises(StudioError, match="larger than"):
        desk.hand_in(sent, most=15, slug="lots")
    assert list(sent) == [b"z" * 10]
    assert set(folder.iterdir()) == before


def test_what_is_too_large_is_refused_by_the_length_it_tells(client):
    response = client.post(BRING, data=b"x", content_type="text/csv", CONTENT_LENGTH="2000000000")
    assert response.status_code == 413
    assert "More than 9 MB was sent" in response.content.decode()
    for length in ("x", "9" * 30, "-1"):
        response = client.post(BRING, data=b"", content_type="text/csv", CONTENT_LENGTH=length)
        assert response.status_code == 413


# --- out --------------------------------------------------------------------------------------


@pytest.mark.parametrize("slug", LISTS)
def test_every_list_has_its_pages_and_files(owner_client, store, slug):
    page = see(owner_client, f"/studio/data/{slug}/")
    for one in LISTS[slug].columns:
        assert one.only_out or one.name in told(page)
    for kind, start in (("csv", b"\xef\xbb\xbf"), ("xlsx", b"PK")):
        for address in (f"/studio/data/{slug}/out/", f"/studio/data/{slug}/empty/"):
            response = owner_client.get(address, {"format": kind})
            content = b"".join(response) if response.streaming else response.content
            assert content.startswith(start), address
            assert response["Content-Disposition"].startswith("attachment; filename=")


def test_empty_list_is_filled_in_by_its_own_example(owner_client, store):
    """What the empty list shows as an example can be entered once its mark is taken off."""
    make_fibre(name="Abaca pulp sheet")
    make_source(name="Greyling Fibres")
    content = owner_client.get("/studio/data/lots/empty/", {"format": "csv"}).content
    heads, example = content.decode("utf-8-sig").splitlines()
    assert example.startswith("example: AB-0007,Abaca pulp sheet,Greyling Fibres,2026-03-14,10,")
    where, page = handed(owner_client, f"{heads}\n{example[9:]}\n".encode())
    owner_client.post(where, typed(page))
    assert Lot.objects.get().ref == "AB-0007"


def test_empty_workbook_says_on_a_second_sheet_what_stands_where(owner_client, store):
    content = owner_client.get("/studio/data/lots/empty/", {"format": "xlsx"}).content
    book = openpyxl.load_workbook(io.BytesIO(content))
    assert book.sheetnames == ["Lots", "How to fill it in"]
    told_of = [row[0].value for row in book["How to fill it in"].iter_rows(min_row=2)]
    assert told_of == [cell.value for cell in book["Lots"][1]]
    assert "mass (kg)" in told_of


def test_american_studio_has_pounds_in_its_empty_list(owner_client, store):
    make_studio(units="US")
    content = owner_client.get("/studio/data/lots/empty/", {"format": "csv"}).content.decode()
    assert "mass (lb)" in content


def test_hand_takes_out_the_lots_alone_and_no_money(hand_client, store):
    make_lot(*store, paid_minor=987_654_321)
    page = see(hand_client, "/studio/data/")
    assert "Lots as CSV" in told(page)
    for word in ("Bring in", "Offers", "Clients", "whole studio"):
        assert word not in told(page)
    text = b"".join(hand_client.get("/studio/data/lots/out/")).decode()
    assert "Abaca" in text
    assert "paid" not in text
    assert "9876543" not in text
    for slug in LISTS:
        code = hand_client.get(f"/studio/data/{slug}/out/").status_code
        assert code == (200 if slug == "lots" else 403)
    assert hand_client.get(BRING).status_code == 403


def test_viewer_takes_nothing_out(viewer_client, store):
    assert viewer_client.get("/studio/data/").status_code == 403
    assert viewer_client.get("/studio/data/lots/out/").status_code == 403


def test_lists_lead_to_their_pages(owner_client, hand_client, store):
    make_lot(*store)
    assert see(owner_client, "/store/").all("a", href="/studio/data/")
    assert see(hand_client, "/store/").all("a", href="/studio/data/")
    assert see(owner_client, "/commissions/").all("a", href="/studio/data/commissions/")
    assert see(owner_client, "/clients/").all("a", href="/studio/data/clients/")
    assert see(owner_client, "/sources/offers/").all("a", href="/studio/data/offers/")
    assert not see(hand_client, "/commissions/").all("a", href="/studio/data/commissions/")


@pytest.mark.parametrize("address", ["/studio/data/", BRING, "/studio/data/whole/"])
def test_number_of_queries_does_not_grow_with_what_is_there(
    owner_client, store, django_assert_max_num_queries, address
):
    see(owner_client, address)
    with django_assert_max_num_queries(60) as few:
        owner_client.get(address)
    for _ in range(20):
        make_lot(*store)
    Client.objects.bulk_create([Client(name=f"Client {n}") for n in range(20)])
    with django_assert_max_num_queries(len(few)):
        owner_client.get(address)


def test_page_sent_without_its_key_is_shown_again(owner_client, store):
    where, _ = handed(owner_client, text_of(LOT))
    response = owner_client.post(where, {})
    assert response.status_code == 200
    assert "This page was sent without its key." in response.content.decode()
    assert not Lot.objects.exists()
    kept = at_work()
    assert owner_client.post(reverse("data_handed", args=[kept.token]), {}).status_code == 200


def test_lists_that_there_are_not_are_not_found(owner_client, store):
    for address in ("/studio/data/people/", "/studio/data/people/out/", "/studio/data/x/empty/"):
        assert owner_client.get(address).status_code == 404
    assert isinstance(Sheet("<main></main>"), Sheet)
