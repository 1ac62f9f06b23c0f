"""The pages of learned figures: what they show, to whom, and taking a figure over."""

from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command

from fibres.models import Drying, Fibre, Shrinkage
from orders.models import AcceptedFigure, Making
from studio.models import Entry
from studio.units import show_share
from tests.builders import (
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_mould,
    make_sheet,
    make_studio,
    make_vat,
)
from tests.orders.learnings import linter, make_done, take_over
from tests.orders.looking import (
    form_data,
    heads,
    look,
    queries,
    said,
    same_queries_for_1_and_20,
)

pytestmark = pytest.mark.django_db
D = Decimal


@pytest.fixture
def fibre() -> Fibre:
    """Return a fibre of which two makings show 91.15 and 95.94 %."""
    found, lot, sheet = linter()
    for mass in (800_000, 760_000):
        make_done(sheet, lots={lot: mass}, minutes={"form": 400})
    return found


def address(fibre, deed=""):
    return f"/learned/yield/fibre-{fibre.pk}/{deed}"


# --- the list


def test_before_any_making_the_page_says_what_will_come(viewer_client):
    assert "No making is finished yet." in said(look(viewer_client, "/learned/"))


def test_figures_stand_beside_what_is_used(viewer_client, fibre):
    page = look(viewer_client, "/learned/")
    words = said(page)
    assert heads(page, "Fibres") == [
        "Preparation yieldCotton linter; if 96\u00a0% of the fibre in the vat stays on the mould"
    ]
    assert len(heads(page, "Sheets")) == 4
    assert "93.54 %" in words
    # Broke and retree came out as they were set.
    assert "2 makings finished. 3 figures differ from what stands." in words
    assert "Offered" in words
    # What cannot be told apart is said on the page.
    assert "preparation yield times retention, never each by itself" in words
    assert "80 % as set stands in for" not in words
    assert "8 % as set stands in for 3 makings" in words


def test_a_making_that_was_not_weighed_through_is_named_with_its_reason(viewer_client):
    making = make_done(sheet_mg=None)
    page = look(viewer_client, "/learned/")
    assert heads(page, "Makings that teach neither") == [making.ref]
    assert "No fibre was issued to it." in said(page)


def test_figures_are_worded_in_inches_where_the_studio_measures_in_them(viewer_client):
    make_studio(units="US")
    mould = make_mould(width_um=210_000, height_um=297_000)
    for _ in range(2):
        make_done(make_sheet(mould=mould), sheet_mg=6_237, trial={"consistency": D("0.005")})
    assert "0.79 in" in said(look(viewer_client, "/learned/"))


def test_the_list_asks_the_database_as_often_for_20_makings_as_for_1(viewer_client):
    def add():
        one = make_fibre()
        sheet = make_sheet(make_furnish({one: "1"}), mould=make_mould())
        trial = {"consistency": D("0.005"), "width_um": 300_000, "height_um": 440_000}
        make_done(sheet, lots={make_lot(one): 800_000}, minutes={"form": 300}, trial=trial)

    same_queries_for_1_and_20(viewer_client, "/learned/", add)


# --- one figure


def test_a_figure_shows_the_makings_behind_it(viewer_client, fibre):
    page = look(viewer_client, address(fibre))
    words = said(page)
    assert "2 makings say 93.54 %." in words
    assert len(heads(page, "Makings behind")) == 2
    assert "if 96 % of the fibre in the vat stays on the mould" in words
    assert "19 times of 20" in words
    assert not page.all("a", class_="do")


def test_the_owner_is_led_to_take_it_over(owner_client, fibre):
    page = look(owner_client, address(fibre))
    assert page.one("a", class_="do").attrs["href"] == address(fibre, "accept/")


def test_one_making_is_not_offered(owner_client):
    found, lot, sheet = linter()
    make_done(sheet, lots={lot: 800_000})
    page = look(owner_client, address(found))
    assert not page.all("a", class_="do")
    assert "It can be taken over after two." in said(page)


@pytest.mark.parametrize(
    "path", ["yield/fibre-9", "yield/sheet-1", "nothing/fibre-1", "broke/sheet", "yield/fibre"]
)
@pytest.mark.parametrize("deed", ["", "accept/"])
def test_no_such_figure_is_not_found(owner_client, path, deed):
    make_done()
    assert owner_client.get(f"/learned/{path}/{deed}").status_code == 404
    assert owner_client.post(f"/learned/{path}/{deed}").status_code in {404, 405}


# --- taking over


def test_the_owner_takes_a_figure_over_and_it_is_in_use(owner_client, fibre):
    page = look(owner_client, address(fibre, "accept/"))
    answer = owner_client.post(address(fibre, "accept/"), form_data(page), follow=True)
    assert "Taken over. Everything is reckoned with it from now on." in answer.content.decode()
    fibre.refresh_from_db()
    assert fibre.preparation_yield == D("0.9354")
    shown = said(look(owner_client, address(fibre)))
    assert "learned from 2 makings" in shown
    assert "Taken over before" in shown
    assert "95 %" in shown


def test_a_page_sent_twice_takes_over_once(owner_client, fibre):
    data = form_data(look(owner_client, address(fibre, "accept/")))
    for _ in range(2):
        assert owner_client.post(address(fibre, "accept/"), data).status_code == 302
    assert AcceptedFigure.objects.count() == 1


def test_a_figure_that_changed_meanwhile_is_shown_and_not_taken_over(owner_client, fibre):
    data = form_data(look(owner_client, address(fibre, "accept/")))
    fibre.preparation_yield = D("0.9")
    fibre.save()
    answer = owner_client.post(address(fibre, "accept/"), data)
    assert answer.status_code == 200
    assert "The figures have changed since this page was shown." in answer.content.decode()
    assert not AcceptedFigure.objects.exists()
    # What the page shows now can be taken over with the next sending.
    page = look(owner_client, address(fibre, "accept/"))
    assert owner_client.post(address(fibre, "accept/"), form_data(page)).status_code == 302


def test_sending_the_refused_page_again_takes_over_what_it_shows(owner_client, fibre):
    from tests.studio.pages import Page

    data = form_data(look(owner_client, address(fibre, "accept/")))
    fibre.preparation_yield = D("0.9")
    fibre.save()
    refused = Page(owner_client.post(address(fibre, "accept/"), data).content.decode())
    answer = owner_client.post(address(fibre, "accept/"), form_data(refused))
    assert answer.status_code == 302
    assert AcceptedFigure.objects.get().before == "0.9"


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_only_the_owner_takes_over(who, request, fibre):
    client = request.getfixturevalue(who)
    entries = Entry.objects.count()
    assert client.get(address(fibre, "accept/")).status_code == 403
    assert client.post(address(fibre, "accept/"), {"value": "0.9354"}).status_code == 403
    assert Entry.objects.count() == entries
    look(client, "/learned/")
    look(client, address(fibre))


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_no_money_is_shown(who, request, fibre):
    client = request.getfixturevalue(who)
    for page in ("/learned/", address(fibre)):
        assert not {"£", "€", "$"} & set(client.get(page).content.decode())


# --- where a figure comes from, on the pages that use it


def test_sheet_fibre_and_mould_say_where_their_figures_come_from(owner_client):
    fibre, lot, _ = linter()
    mould = make_mould(width_um=210_000, height_um=297_000)
    sheet = make_sheet(make_furnish({fibre: "1"}), mould=mould)
    for _ in range(2):
        make_done(
            sheet, lots={lot: 790_000}, minutes={"form": 400}, trial={"consistency": D("0.005")}
        )
    assert "95 %, set" in said(look(owner_client, f"/fibres/{fibre.pk}/"))
    before = said(look(owner_client, f"/sheets/{sheet.pk}/"))
    assert "8 %, usual" in before
    assert "A pull takes" not in before
    for path in (f"yield/fibre-{fibre.pk}", f"minutes/sheet-{sheet.pk}", f"draw/mould-{mould.pk}"):
        page = look(owner_client, f"/learned/{path}/accept/")
        assert owner_client.post(f"/learned/{path}/accept/", form_data(page)).status_code == 302
    learned = "learned from 2 makings"
    assert f"92.3 %, {learned}" in said(look(owner_client, f"/fibres/{fibre.pk}/"))
    assert f"4 minutes, {learned}" in said(look(owner_client, f"/sheets/{sheet.pk}/"))
    assert f"Its draw of 22.4 mm is {learned}." in said(look(owner_client, f"/moulds/{mould.pk}/"))


def measured_makings() -> Making:
    """Return the second of two makings that show yield, draw and shrinkage, on one mould."""
    _, lot, _ = linter()
    mould = make_mould(width_um=210_000, height_um=297_000)
    sheet = make_sheet(make_furnish({lot.fibre: "1"}), mould=mould)
    trial = {"consistency": D("0.005"), "width_um": 199_500, "height_um": 285_120}
    for _ in range(2):
        done = make_done(
            sheet, lots={lot: 790_000}, counts=(100, 78, 4, 18), mould=mould, trial=trial
        )
    return done


def test_a_furnish_says_where_its_shrinkage_comes_from(owner_client):
    making = measured_makings()
    furnish, drying = making.sheet.furnish, making.drying
    Shrinkage.objects.create(furnish=furnish, drying=drying, across=D("0.03"), along=D("0.04"))
    before = said(look(owner_client, furnish.get_absolute_url()))
    assert "3 % 4 % set" in " ".join(before.split())
    take_over("across", f"furnish {furnish.pk} {drying}")
    # 210 mm dried to 199.5 mm.
    words = said(look(owner_client, furnish.get_absolute_url()))
    assert "5 % 4 % across learned from 2 makings, along set" in " ".join(words.split())


def test_a_furnish_asks_as_often_for_every_drying(viewer_client):
    furnish = make_furnish()
    Shrinkage.objects.create(furnish=furnish, drying="loft", across=D("0.03"), along=D("0.04"))
    few = queries(viewer_client, furnish.get_absolute_url())
    for drying in set(Drying.values) - {"loft"}:
        Shrinkage.objects.create(furnish=furnish, drying=drying, across=D(0), along=D(0))
    assert queries(viewer_client, furnish.get_absolute_url()) == few


def on_the_making_sheet(client, making):
    """Return the words of the making sheet, and what the command prints."""
    words = said(look(client, f"{making.get_absolute_url()}sheet/"))
    out = StringIO()
    call_command("making", making.ref, stdout=out)
    return words, out.getvalue().replace("\u00a0", " ")


def test_the_making_sheet_says_where_each_figure_comes_from(owner_client):
    done = measured_makings()
    sheet, mould, furnish = done.sheet, done.mould, done.sheet.furnish
    drying, fibre = done.drying, furnish.parts.get().fibre
    Shrinkage.objects.create(furnish=furnish, drying=drying, across=D("0.03"), along=D("0.04"))
    making = make_making(sheet, mould=mould, vat=make_vat())
    words, text = on_the_making_sheet(owner_client, making)
    assert "Usual: stays on the mould 96 %, broke 8 %, retree 4 %." in words
    assert f"Set: shrinkage across 3 %, shrinkage along 4 %, left of {fibre.name} 95 %." in words
    assert "draw of the mould 2" not in words
    assert "Set: shrinkage across 3 %" in text
    for figure, subject in (
        ("broke", f"sheet {sheet.pk}"), ("draw", f"mould {mould.pk}"),
        ("across", f"furnish {furnish.pk} {drying}"), ("yield", f"fibre {fibre.pk}"),
    ):  # fmt: skip
        take_over(figure, subject)
    words, text = on_the_making_sheet(owner_client, making)
    sheet.refresh_from_db()
    # 700 g formed / 0.96 / 790 g issued.
    learned = (
        f"Learned from 2 makings: draw of the mould 22.4 mm, broke {show_share(sheet.broke)}, "
        f"shrinkage across 5 %, left of {fibre.name} 92.3 %"
    ).replace("\u00a0", " ")
    for said_there in (words, text):
        assert learned in said_there
        assert "Usual: stays on the mould 96 %, retree 4 %" in said_there
        assert "Set: shrinkage along 4 %" in said_there


def test_a_lot_with_a_yield_of_its_own_says_so_on_the_making_sheet(owner_client):
    _, lot, sheet = linter()
    lot.preparation_yield = D("0.6")
    lot.save()
    making = make_making(sheet)
    words = said(look(owner_client, f"{making.get_absolute_url()}sheet/"))
    assert f"Set for this lot: left of lot {lot.ref} 60 %." in words


def test_the_usual_yield_of_a_fibre_is_that_of_the_list(viewer_client):
    from fibres import reference

    row = reference.read_fibres()[0]
    known = make_fibre(name=row["name"], preparation_yield=D(row["preparation_yield"]))
    assert "%, usual" in said(look(viewer_client, f"/fibres/{known.pk}/"))


@pytest.mark.parametrize("room", ["/studio/", "/makings/"])
def test_two_rooms_lead_to_learned_figures(owner_client, room):
    page = look(owner_client, room)
    assert [a for a in page.all("a") if a.attrs.get("href") == "/learned/"]
