"""How many more of a sheet could be promised: the page of the sheet, the bench, the count."""

from datetime import date

import pytest

from orders import asking, services
from orders.calc.remedies import made_worse
from orders.models import Commission
from studio.errors import StudioError
from tests.builders import KG, day, make_commission, make_fibre, make_furnish, make_lot, make_sheet
from tests.orders.looking import look, queries, said

pytestmark = pytest.mark.django_db

FAR = day(-60)


def harm(sheet, number):
    """Return who is short or worse where so many more are promised after everybody else."""
    asked = Commission(ref="T", sheet=sheet, good_quantity=number, due=FAR, priority=9)
    after = services.cover(day(), extra=asked)
    short = ["T"] if after.of("T").short else []
    return short + [found.ref for found in made_worse(services.cover(day()), after)]


@pytest.mark.parametrize("promised", [10, 90, 150])
def test_so_many_more_harm_nobody_and_one_more_does(fibre, sheet, promised):
    make_lot(fibre, as_is_mg=2 * KG)
    make_commission(sheet, good_quantity=promised)
    more = asking.ask(sheet, FAR, day()).good_sheets()
    assert more
    assert harm(sheet, more) == []
    assert harm(sheet, more + 1) != []


def test_the_question_leaves_out_what_is_past_its_use_by_then(fibre, sheet):
    held = make_lot(fibre)
    assert asking.ask(sheet, FAR, day()).good_sheets()
    type(held).objects.filter(pk=held.pk).update(keep_until=day(-5))
    assert asking.ask(sheet, FAR, day()).good_sheets() == 0


def test_the_day_is_counted_back_to_the_fibre():
    fibre = make_fibre(preparation_days=3)
    sheet = make_sheet(make_furnish({fibre: "1"}))
    asked = asking.ask(sheet, date(2031, 5, 20), date(2031, 5, 1))
    # By hand: 7 days of making and 3 of preparation.
    assert asked.snapshot.question.due == date(2031, 5, 10)
    assert asked.ready_by == date(2031, 5, 11)
    assert not asked.is_too_soon


def test_a_day_that_is_over_is_refused(sheet):
    with pytest.raises(StudioError, match="today or a day ahead"):
        asking.ask(sheet, day(1), day())


# --- the page of the sheet


def address(sheet):
    return f"/sheets/{sheet.pk}/"


def test_the_page_offers_a_day_in_four_weeks_and_works_nothing_out(viewer_client, sheet):
    page = look(viewer_client, address(sheet))
    assert page.one("input", id="id_by").attrs["value"] == day(-28).isoformat()
    assert "could be promised" not in said(page)


def test_the_page_answers_by_its_address_alone(viewer_client, fibre, sheet):
    make_lot(fibre, as_is_mg=500_000)
    page = look(viewer_client, address(sheet), by=FAR.isoformat())
    # By hand: 437 g usable make 59 pulls of 7.3285 g, and 51 good sheets at 88 of 100.
    assert "51 more good sheets of Text A4 could be promised by" in said(page)
    assert "too little time" not in said(page)


def test_the_page_says_that_a_day_is_too_soon(viewer_client, fibre, sheet):
    make_lot(fibre)
    page = look(viewer_client, address(sheet), by=day(-1).isoformat())
    assert "too little time to prepare" in said(page)


@pytest.mark.parametrize(
    ("typed", "fault"),
    [
        ("", "Give a day."),
        ("soon", "Give a day such as"),
        ("2020-01-01", "Give today or a day ahead."),
        ("9" * 5000, "Give a day such as"),
        ("\0", "Give a day such as"),
    ],
)
def test_a_day_that_is_none_is_told_beside_the_field(viewer_client, sheet, typed, fault):
    page = look(viewer_client, address(sheet), by=typed)
    assert fault in page.one("p", class_="fault").text
    assert "could be promised" not in said(page)


def test_a_sheet_that_cannot_be_reckoned_says_why(viewer_client, sheet):
    sheet.furnish.parts.all().delete()
    assert "has no fibre yet" in said(look(viewer_client, address(sheet), by=FAR.isoformat()))


def test_a_closed_sheet_is_not_asked_about(viewer_client, sheet):
    type(sheet).objects.filter(pk=sheet.pk).update(closed_on=day())
    assert not look(viewer_client, address(sheet)).all("input", id="id_by")


def test_asking_takes_the_same_queries_for_1_and_20_lots(viewer_client, fibre, sheet):
    asked = f"{address(sheet)}?by={FAR.isoformat()}"
    make_lot(fibre)
    make_commission(sheet)
    few = queries(viewer_client, asked)
    for _ in range(19):
        make_lot(fibre)
        make_commission(make_sheet(make_furnish({fibre: "1"})))
    assert queries(viewer_client, asked) == few


# --- the bench


def test_the_bench_waits_to_be_asked(viewer_client, sheet):
    page = look(viewer_client, "/bench/")
    assert "Choose a sheet and a day, and the answer appears here." in said(page)


def test_the_bench_answers_for_a_sheet_and_a_day(viewer_client, fibre, sheet):
    make_lot(fibre, as_is_mg=500_000)
    page = look(viewer_client, "/bench/", sum="more", sheet=sheet.pk, by=FAR.isoformat())
    assert "51" in [cell.text for cell in page.all("td")]


def test_the_bench_says_that_a_day_is_too_soon(viewer_client, fibre, sheet):
    make_lot(fibre)
    page = look(viewer_client, "/bench/", sum="more", sheet=sheet.pk, by=day().isoformat())
    assert "Too soon to be made by then" in said(page)


@pytest.mark.parametrize(
    "changes", [{"sheet": ""}, {"sheet": "none"}, {"by": ""}, {"by": "2020-1-1"}]
)
def test_the_bench_says_what_is_wrong_with_the_question(viewer_client, sheet, changes):
    given = {"sum": "more", "sheet": sheet.pk, "by": FAR.isoformat(), **changes}
    page = look(viewer_client, "/bench/", **given)
    assert len(page.all("p", class_="fault")) == 1
    assert "Not reckoned yet." in said(page)


def test_the_bench_says_why_a_sheet_cannot_be_reckoned(viewer_client, sheet):
    sheet.furnish.parts.all().delete()
    page = look(viewer_client, "/bench/", sum="more", sheet=sheet.pk, by=FAR.isoformat())
    assert "has no fibre yet" in said(page)
