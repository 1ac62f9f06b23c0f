"""A list of offers taken in by a page: looked over first, entered on the second press."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from fibres.forms import offerlists
from fibres.models import Offer
from studio.models import Entry
from tests.builders import day, make_fibre, make_source, make_studio
from tests.fibres.pages import Sheet, faults, see, told, typed

pytestmark = pytest.mark.django_db
IMPORT = "/sources/offers/import/"


@pytest.fixture
def yard():
    make_studio(currency="GBP", units="metric")
    return make_source(name="Greyling Fibres"), make_fibre(name="Cotton linter")


LIST = (
    "source,fibre,pack,price,moisture,breaks\n"
    "Greyling Fibres,Cotton linter,5 kg,9.40,8 %,4: 8.50\n"
)


def upload(client, text, name="list.csv"):
    file = SimpleUploadedFile(name, text if isinstance(text, bytes) else text.encode())
    key = typed(see(client, IMPORT))["request_key"]
    return client.post(IMPORT, {"file": file, "request_key": key})


def test_list_is_looked_over_and_then_entered(owner_client, yard):
    response = upload(owner_client, LIST)
    page = Sheet(response.content.decode())
    assert "Nothing is written yet. It would be: 1 entered." in told(page)
    for part in ("Cotton linter", "9.40", "from 4: £8.50"):
        assert part in told(page)
    assert not Offer.objects.exists()
    sent = typed(page)
    response = owner_client.post(IMPORT, sent, follow=True)
    assert "Offers: 1 entered." in told(Sheet(response.content.decode()))
    assert Offer.objects.get().minor_per_kg == 940
    assert Entry.objects.get().said == "Took in offers from list.csv: 1 entered"
    page = Sheet(upload(owner_client, LIST).content.decode())
    assert "Nothing in the list is new." in told(page)
    assert "Enter these offers" not in told(page)
    owner_client.post(IMPORT, sent)
    assert (Offer.objects.count(), Entry.objects.count()) == (1, 1)


def test_faults_of_a_list_are_shown_by_row(owner_client, yard):
    response = upload(owner_client, LIST.replace("5 kg", "5").replace("9.40", "x"))
    said = faults(response)
    assert "Row 2, pack: “5” has no unit." in said
    assert "Row 2, price:" in said
    assert "Enter these offers" not in response.content.decode()


def test_only_the_first_faults_are_shown_and_the_rest_counted(owner_client, yard):
    text = LIST + "Greyling Fibres,Cotton linter,5,9.40,8 %,\n" * 60
    said = faults(upload(owner_client, text))
    assert "And 10 more like these." in said


def test_file_that_cannot_be_read_is_a_fault_of_the_file(owner_client, yard):
    assert "List of offers: The file is empty." in faults(upload(owner_client, b""))
    assert "List of offers: No column is called “x”" in faults(upload(owner_client, "x\n1\n"))
    key = typed(see(owner_client, IMPORT))["request_key"]
    assert "List of offers: Choose a file." in faults(
        owner_client.post(IMPORT, {"request_key": key})
    )


def test_page_takes_no_file_that_is_too_large(owner_client, yard, monkeypatch):
    monkeypatch.setattr(offerlists, "MOST_BYTES", 10)
    assert "takes larger ones" in faults(upload(owner_client, LIST))
    monkeypatch.undo()
    for name in ("MOST_ROWS", "MOST_KEPT"):
        monkeypatch.setattr(offerlists, name, 0)
        assert "takes larger ones" in faults(upload(owner_client, LIST))
        monkeypatch.undo()


def test_rows_that_were_not_looked_over_are_refused(owner_client, yard):
    sent = typed(Sheet(upload(owner_client, LIST).content.decode()))
    response = owner_client.post(IMPORT, {**sent, "rows": f"x{sent['rows']}"})
    assert "Choose the file once more." in faults(response)
    assert not Offer.objects.exists()


def test_what_changed_since_the_look_is_refused_by_row(owner_client, yard):
    sent = typed(Sheet(upload(owner_client, LIST).content.decode()))
    type(yard[0]).objects.update(closed_on=day())
    response = owner_client.post(IMPORT, sent)
    assert "Row 2, source: “Greyling Fibres” is closed." in faults(response)
    assert not Offer.objects.exists()
