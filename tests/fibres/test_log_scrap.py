"""Logging scrap: the page, its live panel, and the command; all three come to the same sum."""

import json
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from fibres import gifts
from fibres.gifts import Measure
from fibres.models import Lot, Source
from fibres.reference import load_fibres
from fibres.views import LogScrapPage
from studio.errors import StudioError
from studio.models import Entry
from studio.sizes import size_named
from studio.units import Q
from tests.builders import day, make_fibre, make_source, make_studio
from tests.fibres.pages import Sheet, faults, see, send, told, written

pytestmark = pytest.mark.django_db
LOG = "/scrap/log/"


@pytest.fixture
def white(db):
    """Office paper at 5 % moisture, of which 80 % is usable."""
    return make_fibre(
        name="Office white",
        code="OW",
        is_scrap=True,
        usual_moisture=Decimal("0.05"),
        preparation_yield=Decimal("0.8"),
        sorting_minutes_per_kg=Decimal(10),
        cautions="Tear without raising dust.",
    )


@pytest.fixture
def receipts(db):
    return make_fibre(
        name="Till receipts", is_scrap=True, is_refused=True, refusals="They shed their coating."
    )


# --- the page ------------------------------------------------------------------------------------


def test_weighed_gift_becomes_a_lot_of_its_own_from_a_new_donor(hand_client, white):
    response = send(
        hand_client,
        LOG,
        donor=" Quarry  Hill School ",
        fibre=white.pk,
        mass="8",
        remarks="Staples.",
    )
    lot = Lot.objects.get()
    assert response.url == lot.get_absolute_url()
    # By hand: 8 kg at 5 % is 7.6 kg oven-dry; 8 kg at 10 minutes a kilogram is 80 minutes.
    assert (lot.ref, lot.as_is_mg, lot.oven_dry_mg) == ("OW-0001", 8_000_000, 7_600_000)
    assert (lot.measured, lot.band, lot.moisture_known) == ("weighed", 0, "assumed")
    assert (lot.sorting_minutes, lot.paid_minor, lot.remarks) == (80, 0, "Staples.")
    assert (lot.source.name, lot.source.kind) == ("Quarry Hill School", "donor")
    assert "Lot OW-0001 is in store: 7.60 kg oven-dry." in told(see(hand_client, response.url))


def test_known_donor_is_offered_and_used_again(hand_client, white):
    known = make_source(name="Quarry Hill School", kind="donor")
    make_source(name="Tidewater")
    page = see(hand_client, LOG)
    offered = [one.attrs["value"] for one in page.all("option") if "datalist" in one.inside]
    assert offered == ["Quarry Hill School"]
    send(hand_client, LOG, donor="quarry hill school", fibre=white.pk, mass="8")
    assert Lot.objects.get().source == known


def test_gift_without_a_donor_is_an_anonymous_drop(hand_client, white):
    send(hand_client, LOG, fibre=white.pk, mass="8")
    assert Source.objects.get().name == "Anonymous drop"


@pytest.mark.parametrize(
    ("measured", "figures", "as_is_mg", "band"),
    [
        # By hand: 0.21 × 0.297 m² × 80 g/m² is 4.9896 g a sheet.
        ("counted", {"number": "640"}, 3_193_344, "0.03"),
        ("reams", {"number": "2.5"}, 6_237_000, "0.03"),
        ("pile", {"height": "10"}, 4_989_600, "0.1"),  # 10 cm ÷ 0.10 mm is 1000 sheets
        ("boxes", {"number": "0.5"}, 6_860_700, "0.2"),  # 1375 sheets
        ("guess", {"mass": "3"}, 3_000_000, "0.4"),
    ],
)
def test_every_way_of_measuring_asks_for_its_own_figures(
    hand_client, white, measured, figures, as_is_mg, band
):
    send(hand_client, LOG, fibre=white.pk, measured=measured, **figures)
    lot = Lot.objects.get()
    assert (lot.measured, lot.as_is_mg, lot.band) == (measured, as_is_mg, Decimal(band))


def test_what_the_way_of_measuring_does_not_ask_for_is_not_judged(hand_client, white):
    send(
        hand_client, LOG, fibre=white.pk, measured="weighed", mass="8", number="many",
        height="tall", size="huge", grammage="", moisture="wet",
    )  # fmt: skip
    assert Lot.objects.get().as_is_mg == 8_000_000


def test_weighed_moisture_takes_the_place_of_the_usual_one(hand_client, white):
    send(hand_client, LOG, fibre=white.pk, mass="8", moisture_by="weighed", moisture="10")
    lot = Lot.objects.get()
    # By hand: 8 kg at 10 % is 7.2 kg.
    assert (lot.oven_dry_mg, lot.moisture_known) == (7_200_000, "weighed")


def test_us_studio_starts_from_letter_paper(hand_client, white):
    make_studio(units="US")
    send(hand_client, LOG, fibre=white.pk, measured="counted", number="500")
    # 500 letter sheets of 20 lb bond weigh 5 lb: definition of the basis weight,
    # 500 sheets of 17 × 22 in weigh 20 lb and letter is a quarter of it. 5 lb = 2 267 962 mg.
    assert Lot.objects.get().as_is_mg == 2_267_962


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"fibre": ""}, "Class of scrap: Choose one."),
        ({"fibre": "zzz"}, "Class of scrap: Choose one of those offered."),
        ({"mass": ""}, "Mass as it is: Give a mass, such as 2.5 kg."),
        ({"mass": "0"}, "Mass as it is:"),
        ({"mass": "-3"}, "Mass as it is:"),
        ({"mass": "1e400"}, "Mass as it is:"),
        ({"measured": "eyed"}, "How measured: Choose one of those offered."),
        ({"measured": "counted", "number": ""}, "Number: Give a number"),
        (
            {"measured": "counted", "number": "640.5"},
            "Give a whole number of sheets, such as 640.",
        ),
        ({"measured": "counted", "number": "9", "size": "A44"}, "Sheet:"),
        ({"measured": "reams", "number": "0"}, "Number: Give more than 0."),
        ({"measured": "boxes", "number": "1000000000"}, "Give figures that come to 100 000.00 kg"),
        ({"measured": "pile", "height": "10 kg"}, "Height of the pile:"),
        ({"moisture_by": "weighed", "moisture": ""}, "Moisture as weighed: Give a share"),
        ({"moisture_by": "weighed", "moisture": "100"}, "Give less than 100 %"),
        ({"received_on": "2099-12-31"}, "Received: That day has not come yet."),
        ({"received_on": "soon"}, "Received: Give a day such as 2026-11-25, got “soon”."),
        ({"donor": "Tidewater"}, "Given by: Tidewater is in the book as a supplier."),
        ({"donor": "x" * 81}, "Given by: Give at most 80 characters; this has 81."),
    ],
)
def test_bad_input_comes_back_with_what_was_typed_and_writes_nothing(
    hand_client, white, changes, fault
):
    make_source(name="Tidewater")
    before = written()
    sent = {"fibre": white.pk, "mass": "8", "remarks": "Kept as typed", **changes}
    response = send(hand_client, LOG, **sent)
    assert fault in faults(response)
    assert "Kept as typed" in response.content.decode()
    assert written() == before


def test_refused_class_is_listed_with_its_reason_and_cannot_be_chosen(
    hand_client, white, receipts
):
    page = see(hand_client, LOG)
    assert "They shed their coating." in told(page)
    offered = [one.attrs["value"] for one in page.all("option") if "select" in one.inside]
    assert str(white.pk) in offered
    assert str(receipts.pk) not in offered


def test_refused_class_sent_all_the_same_gets_its_refusal(hand_client, white, receipts):
    before = written()
    response = send(hand_client, LOG, fibre=receipts.pk, mass="8")
    assert "Till receipts is refused at the door: They shed their coating." in faults(response)
    assert written() == before


def test_page_sent_twice_writes_one_lot(hand_client, white):
    data = {"request_key": "1" * 32, "fibre": white.pk, "mass": "8"}
    first = send(hand_client, LOG, **data)
    count = written()
    again = send(hand_client, LOG, **data)
    assert first.url == again.url
    assert written() == count


def test_viewer_may_not_log_scrap(viewer_client, white):
    assert viewer_client.get(LOG).status_code == 403
    assert viewer_client.post(LOG, {"fibre": white.pk, "mass": "8"}).status_code == 403
    assert not Lot.objects.exists()


def test_page_leads_to_a_class_where_there_is_none(owner_client):
    links = [link.attrs["href"] for link in see(owner_client, LOG).all("a", class_="do")]
    assert links == [reverse("fibres")]


# --- the panel -----------------------------------------------------------------------------------


def panel(client, **sent):
    response = client.post(LOG, sent, headers={"HX-Request": "true"})
    assert response.status_code == 200
    return Sheet(f"<main>{response.content.decode()}</main>").told


def gift(white, **changes):
    day_ = day().isoformat()
    return {
        "request_key": "1" * 32, "fibre": white.pk, "measured": "weighed", "mass": "8",
        "mass_unit": "kg", "moisture_by": "usual", "received_on": day_, **changes,
    }  # fmt: skip


def test_panel_shows_the_sum_and_writes_nothing(hand_client, white):
    before = written()
    words = panel(hand_client, **gift(white))
    # By hand: 8 kg less 5 % is 7.6 kg; less 20 % of that is 6.08 kg.
    for line in (
        "As it stands weighed 8.00 kg",
        "Less moisture 5 %, usual for this class −0.400 kg",
        "Oven-dry 7.60 kg",
        "Less lost in preparation 20 %, usual for this class −1.52 kg",
        "Usable fibre 6.08 kg",
        "Caution. Tear without raising dust.",
    ):
        assert line in words
    assert "Between" not in words
    assert written() == before


def test_panel_shows_the_band_and_how_the_mass_was_found(hand_client, white):
    words = panel(
        hand_client,
        **gift(
            white, measured="reams", number="2", size="A4", grammage="80", grammage_unit="g/m2"
        ),
    )
    # By hand: 2 × 500 × 4.9896 g is 4.9896 kg, × 0.95 × 0.8 is 3.792 kg; ± 3 %.
    assert "reams, ± 3 % 4.99 kg" in words
    assert "Between 3.68 kg and 3.91 kg usable. Weigh the gift to narrow it." in words
    assert "How the mass is worked out" in words


def test_panel_says_what_private_papers_ask_for(hand_client, white):
    assert "Keep them locked up" in panel(hand_client, **gift(white, is_confidential="on"))


def test_panel_waits_for_what_cannot_be_read(hand_client, white):
    assert "Not worked out yet." in panel(hand_client, **gift(white, mass="heavy"))
    assert "Not worked out yet." in panel(
        hand_client, **gift(white, measured="counted", number="1.5", size="A4", grammage="80")
    )


def test_panel_is_filled_without_script_by_its_own_button(hand_client, white):
    before = written()
    response = send(hand_client, LOG, fibre=white.pk, mass="8", work_out="1")
    assert "Usable fibre 6.08 kg" in Sheet(response.content.decode()).told
    assert written() == before


def test_a_weighed_moisture_is_said_to_be_weighed(hand_client, white):
    words = panel(hand_client, **gift(white, moisture_by="weighed", moisture="10"))
    assert "Less moisture 10 %, weighed" in words


def test_the_store_by_itself_makes_no_sheets(white):
    assert LogScrapPage().sheets_from(1_000_000) == []


def test_the_sum_closes_on_usable_fibre_or_on_the_sheets_made_of_it(white):
    found = gifts.estimate(Measure("weighed", mass=Q(8, "kg")))
    worth = gifts.worth(found, white, Decimal("0.05"))
    told_ = {"moisture": Decimal("0.05"), "moisture_because": "weighed"}
    alone = gifts.sum_lines(found, worth, white, **told_)
    followed = gifts.sum_lines(found, worth, white, **told_, closes=False)
    assert (alone[-1].kind, followed[-1].kind) == ("answer", "line")


def test_a_missing_figure_is_named():
    with pytest.raises(StudioError, match="Reams: the grammage is missing"):
        gifts.estimate(Measure("reams", number=Decimal(2), size=size_named("A4")))


# --- the command ---------------------------------------------------------------------------------


def run(capsys, *options):
    call_command("log_scrap", *options)
    return capsys.readouterr().out.replace("\xa0", " ")


def test_command_enters_the_lot_and_prints_the_sum(capsys, white):
    out = run(capsys, "--donor", "Mill Lane", "--class", "office white", "--mass", "8 kg")
    lot = Lot.objects.get()
    assert out.startswith("Lot OW-0001 is in store: Office white.")
    assert "6.08 kg" in out
    assert "Caution. Tear without raising dust." in out
    assert (lot.source.name, lot.oven_dry_mg, lot.received_on) == ("Mill Lane", 7_600_000, day())


@pytest.mark.parametrize(
    ("options", "measured", "as_is_mg"),
    [
        (["--sheets", "640"], "counted", 3_193_344),
        (["--reams", "2.5"], "reams", 6_237_000),
        (["--pile", "10 cm"], "pile", 4_989_600),
        (["--boxes", "0.5"], "boxes", 6_860_700),
    ],
)
def test_command_counts_as_the_page_does(capsys, white, options, measured, as_is_mg):
    run(capsys, "--class", "Office white", *options, "--size", "A4", "--grammage", "80 gsm")
    lot = Lot.objects.get()
    assert (lot.measured, lot.as_is_mg) == (measured, as_is_mg)


def test_command_takes_moisture_day_and_privacy(capsys, white):
    run(
        capsys, "--class", "Office white", "--guess", "3 kg", "--moisture", "10%",
        "--received", day(3).isoformat(), "--confidential", "--remarks", "Staples.",
    )  # fmt: skip
    lot = Lot.objects.get()
    assert (lot.measured, lot.moisture, lot.moisture_known) == ("guess", Decimal("0.1"), "weighed")
    assert (lot.received_on, lot.is_confidential, lot.remarks) == (day(3), True, "Staples.")


def test_command_on_a_dry_run_answers_and_writes_nothing(capsys, white):
    before = written()
    out = run(capsys, "--class", "Office white", "--guess", "3 kg", "--dry-run")
    assert out.startswith("Nothing is written: Office white.")
    # By hand: 3 kg × 0.95 × 0.8 is 2.28 kg; 40 % either way is 1.368 to 3.192 kg.
    assert "Between 1.37 kg and 3.19 kg usable." in out
    assert written() == before


def test_command_prints_one_object_with_units_in_its_keys(capsys, white):
    out = run(capsys, "--class", "Office white", "--guess", "3 kg", "--json")
    assert json.loads(out) == {
        "ref": "OW-0001", "class": "Office white", "measured": "guess", "moisture_percent": 5.0,
        "as_is_g": 3000.0, "as_is_low_g": 1800.0, "as_is_high_g": 4200.0, "oven_dry_g": 2850.0,
        "usable_g": 2280.0, "usable_low_g": 1368.0, "usable_high_g": 3192.0,
    }  # fmt: skip
    dry = run(capsys, "--class", "Office white", "--mass", "3 kg", "--json", "--dry-run")
    assert json.loads(dry)["ref"] is None


def test_command_without_cautions_prints_none(capsys):
    make_fibre(name="Plain", is_scrap=True)
    assert "Caution" not in run(capsys, "--class", "Plain", "--mass", "1 kg")


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        (["--mass", "8 kg"], "Give --class. Known are: Office white."),
        (["--class", "ledger", "--mass", "8 kg"], "“ledger” is no class of scrap. Known are: Off"),
        (["--class", "Till receipts", "--mass", "8 kg"], "Till receipts is refused at the door"),
        (["--class", "Office white"], "Give one of --mass, --guess, .*, got none"),
        (
            ["--class", "Office white", "--mass", "8 kg", "--sheets", "9"],
            "Give one of .*, got --mass, --sheets",
        ),
        (["--class", "Office white", "--mass", "8"], "--mass: “8”"),
        (["--class", "Office white", "--mass", "nan kg"], "--mass: “nan kg”"),
        (["--class", "Office white", "--sheets", "1.5"], "--sheets: “1.5”"),
        (["--class", "Office white", "--reams", "2", "--size", "A4"], "--reams needs --grammage"),
        (["--class", "Office white", "--reams", "2"], "--reams needs --size too"),
        (["--class", "Office white", "--mass", "8 kg", "--moisture", "100%"], "less than 100 %"),
        (["--class", "Office white", "--mass", "8 kg", "--moisture", "wet"], "--moisture: “wet”"),
        (
            ["--class", "Office white", "--mass", "8 kg", "--received", "soon"],
            "--received: Give a day such as 2026-11-25, got “soon”.",
        ),
        (
            ["--class", "Office white", "--mass", "8 kg", "--received", "2099-12-31"],
            "has not come yet",
        ),
        (["--class", "Office white", "--mass", "8 kg", "--donor", "x" * 81], "80 characters"),
    ],
)
def test_command_refuses_bad_input_with_one_line_and_writes_nothing(
    white, receipts, options, fault
):
    before = written()
    with pytest.raises(CommandError, match=fault) as refusal:
        call_command("log_scrap", *options)
    assert "\n" not in str(refusal.value)
    assert refusal.value.returncode == 1
    assert written() == before


def test_command_says_where_classes_come_from():
    with pytest.raises(CommandError, match="Run load_reference first"):
        call_command("log_scrap", "--class", "Office white", "--mass", "8 kg")
    assert not Entry.objects.exists()


@pytest.mark.django_db
def test_refused_class_is_refused_by_part_of_its_name_too():
    load_fibres()
    with pytest.raises(CommandError, match="refused at the door: Heat-sensitive"):
        call_command("log_scrap", donor="Reed", mass="1 kg", **{"class": "till receipts"})
    assert not Lot.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changes", "sentence"),
    [({"received": "2099-01-01"}, "has not come yet"), ({"donor": "x" * 10_000}, "80 characters")],
)
def test_dry_run_refuses_what_the_run_would(changes, sentence):
    load_fibres()
    given = {"donor": "Reed", "mass": "1 kg", "class": "White office paper", **changes}
    with pytest.raises(CommandError, match=sentence):
        call_command("log_scrap", dry_run=True, **given)
    assert not Source.objects.exists()
