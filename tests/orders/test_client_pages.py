import pytest

from orders.models import Client, Commission
from studio.models import Entry
from tests.builders import day, make_client, make_commission
from tests.orders.looking import form_data, heads, look, said, same_queries_for_1_and_20


@pytest.fixture
def harbour(db):
    return make_client(name="Harbour Songbook", contact="at the old quay")


def test_the_list_counts_commissions_and_names_the_last_day(hand_client, harbour):
    make_commission(client=harbour, due=day(-9))
    make_commission(client=harbour, state=Commission.State.CLOSED, due=day(20))
    page = look(hand_client, "/clients/")
    assert heads(page, "Clients") == ["Harbour Songbook"]
    cells = {cell.attrs.get("data-label"): cell.text for cell in page.all("td")}
    assert (cells["Open commissions"], cells["All commissions"]) == ("1", "2")


def test_the_list_is_searched(owner_client, harbour):
    make_client(name="Plumb Bindery")
    assert heads(look(owner_client, "/clients/", words="quay"), "Clients") == ["Harbour Songbook"]
    assert "Nothing fits" in said(look(owner_client, "/clients/", words="nobody"))


def test_a_hand_neither_reads_nor_searches_how_to_reach_a_client(
    hand_client, harbour, django_assert_max_num_queries
):
    Client.objects.update(remarks="rings at noon")
    addresses = ["/clients/", f"/clients/{harbour.pk}/", "/clients/?sort=contact", "/commissions/"]
    with django_assert_max_num_queries(80) as counted:
        texts = [look(hand_client, address).one("html").text for address in addresses]
    for words in ("at the old quay", "rings at noon", "Contact"):
        assert not [text for text in texts if words in text]
    asked_for = " ".join(query["sql"] for query in counted.captured_queries)
    assert '"orders_client"."contact"' not in asked_for
    for words in ("quay", "noon"):
        assert "Nothing fits" in said(look(hand_client, "/clients/", words=words))
    assert heads(look(hand_client, "/clients/", words="harbour"), "Clients")


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_owner_alone_takes_the_list_along_as_a_file(owner_client, hand_client, harbour, kind):
    assert owner_client.get(f"/clients/?format={kind}").status_code == 200
    assert hand_client.get(f"/clients/?format={kind}").status_code == 403
    assert not look(hand_client, "/clients/").all("a", href=f"?format={kind}")


def test_the_list_takes_the_same_queries_for_1_and_20_rows(hand_client):
    same_queries_for_1_and_20(hand_client, "/clients/", make_commission)


def test_the_page_lists_the_clients_commissions_alone(hand_client, harbour):
    make_commission(client=harbour, ref="C-101")
    make_commission(ref="C-102")
    page = look(hand_client, f"/clients/{harbour.pk}/")
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-101"]
    assert "1 commission is open." in said(page)


def test_the_owner_reads_how_to_reach_a_client(owner_client, harbour):
    assert "at the old quay" in said(look(owner_client, f"/clients/{harbour.pk}/"))
    assert "at the old quay" in said(look(owner_client, "/clients/"))


def test_the_page_of_a_client_without_commissions_says_so(owner_client, harbour):
    page = look(owner_client, f"/clients/{harbour.pk}/")
    assert "Nothing is open for this client." in said(page)
    assert page.one("a", class_="do", href=f"/commissions/new/?client={harbour.pk}")


def test_the_page_takes_the_same_queries_for_1_and_20_rows(hand_client, harbour):
    same_queries_for_1_and_20(
        hand_client, f"/clients/{harbour.pk}/", lambda: make_commission(client=harbour)
    )


def test_a_viewer_does_not_reach_clients(viewer_client, harbour):
    assert viewer_client.get("/clients/").status_code == 403
    assert viewer_client.get(f"/clients/{harbour.pk}/").status_code == 403


def test_a_hand_reads_and_does_not_change_clients(hand_client, harbour):
    assert not look(hand_client, "/clients/").all("a", class_="do")
    for address in ("/clients/new/", f"/clients/{harbour.pk}/edit/"):
        assert hand_client.get(address).status_code == 403
        assert hand_client.post(address).status_code == 403


def test_a_client_is_entered_and_changed(owner_client):
    data = form_data(look(owner_client, "/clients/new/"), name="Plumb Bindery")
    answer = owner_client.post("/clients/new/", data)
    client = Client.objects.get()
    assert answer.headers["Location"] == f"/clients/{client.pk}/"
    address = f"/clients/{client.pk}/edit/"
    owner_client.post(address, form_data(look(owner_client, address), contact="by post"))
    client.refresh_from_db()
    assert (client.name, client.contact) == ("Plumb Bindery", "by post")
    assert [entry.said for entry in Entry.objects.all()] == [
        "Added client Plumb Bindery", "Changed client Plumb Bindery",
    ]  # fmt: skip


def test_a_name_that_is_taken_is_refused(owner_client, harbour):
    data = form_data(look(owner_client, "/clients/new/"), name=harbour.name)
    answer = owner_client.post("/clients/new/", data)
    assert answer.status_code == 200
    assert "has this name already" in answer.content.decode()
    assert Client.objects.count() == 1


def test_a_client_without_commissions_is_removed(owner_client, harbour):
    owner_client.post(f"/clients/{harbour.pk}/close/", {"deed": "remove"})
    assert not Client.objects.exists()


def test_a_client_with_a_commission_is_closed_and_opened_again(owner_client, harbour):
    make_commission(client=harbour)
    address = f"/clients/{harbour.pk}/close/"
    assert owner_client.post(address, {"deed": "remove"}).status_code == 409
    owner_client.post(address, {"deed": "close"})
    page = look(owner_client, f"/clients/{harbour.pk}/")
    assert "Closed: kept for its history" in said(page)
    assert not page.all("a", href=f"/commissions/new/?client={harbour.pk}")
    owner_client.post(address, {"deed": "open"})
    harbour.refresh_from_db()
    assert not harbour.is_closed
