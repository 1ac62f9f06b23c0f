"""Reorder: fibres with nothing to do, how far it looks, and where plan and flag name two days."""

import pytest

from orders.calc.bought import NOTHING_TO_DO, Change, DayBalance, Flag
from orders.models import StoredPlan
from orders.wording import day as worded
from tests.builders import KG, day
from tests.orders.looking import heads, look, said
from tests.orders.reorders import ahead, at_rest, flag, line, order, reorder

pytestmark = pytest.mark.django_db

ADDRESS = "/reorder/"


@pytest.mark.parametrize("browser", ["owner_client", "viewer_client"])
def test_a_fibre_with_nothing_to_do_shows_its_balance_when_opened(request, browser, planner):
    planner.answers = [reorder(flags=[flag(), at_rest("Kozo"), at_rest("Mitsumata")])]
    page = look(request.getfixturevalue(browser), ADDRESS)
    told = [one.text for one in page.all("summary") if one.text.endswith(", usable fibre ahead")]
    assert told == ["Kozo, usable fibre ahead", "Mitsumata, usable fibre ahead"]
    assert heads(page, "Kozo, usable fibre ahead") == [worded(day(), day())]
    assert len(page.all("svg", class_="slim")) == 3
    assert len(page.ids()) == len(set(page.ids()))
    assert page.misnested == []
    # Nothing can lie below a minimum or be missing.
    assert said(page).count("Lined area") == 1


def test_only_what_is_held_wanted_or_to_be_kept_is_drawn(owner_client, planner):
    nothing = DayBalance(ahead(0), 0)
    drawn = [
        at_rest("Held"),
        Flag("Kept", NOTHING_TO_DO, KG, (nothing,)),
        Flag("Wanted", NOTHING_TO_DO, 0, (nothing, DayBalance(ahead(5), 0, (Change("T-1", 0),)))),
        Flag("Neither", NOTHING_TO_DO, 0, (nothing,)),
    ]
    planner.answers = [reorder(flags=drawn)]
    page = look(owner_client, ADDRESS)
    assert "Held, Kept, Wanted and Neither need nothing" in said(page)
    told = [one.text.split(",")[0] for one in page.all("summary") if ", usable" in one.text]
    assert told == ["Held", "Kept", "Wanted"]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("99", "From 4 to 26 weeks can be shown; these are 26."),
        ("3", "From 4 to 26 weeks can be shown; these are 4."),
        ("x", "From 4 to 26 weeks can be shown; these are 13."),
        ("8", ""),
        ("08", ""),
        ("", ""),
    ],
)
def test_weeks_that_cannot_be_shown_are_not_changed_without_a_word(
    owner_client, planner, asked, words
):
    page = said(look(owner_client, ADDRESS, weeks=asked))
    assert words in page
    assert ("can be shown" in page) == bool(words)


def test_a_code_in_a_sentence_does_not_break(owner_client, planner):
    page = look(owner_client, ADDRESS)
    (code,) = page.all("span", class_="code")
    assert code.text == "T-1"


def test_a_plan_that_orders_on_another_day_than_the_flag_says_so(owner_client, planner):
    early = order(source="Greyling Fibres", order_on=ahead(3), arrives_on=ahead(18))
    planner.answers = [reorder(early)]
    page = said(look(owner_client, ADDRESS))
    assert f"An order placed by {worded(ahead(10), day())} still arrives in time." in page
    said_so = f"The plan below orders it from Greyling Fibres by {worded(ahead(3), day())}."
    assert said_so in page
    planner.answers = [reorder(order(order_on=ahead(30), arrives_on=ahead(39)), early)]
    StoredPlan.objects.all().delete()
    page = said(look(owner_client, ADDRESS))
    assert said_so.replace("orders it from", "orders it first from") in page


def test_a_plan_that_orders_on_the_day_of_the_flag_needs_no_word(owner_client, planner):
    later = order(source="Greyling Fibres", order_on=ahead(30), arrives_on=ahead(39))
    other = order(line("Kozo"), order_on=ahead(2), arrives_on=ahead(9))
    planner.answers = [reorder(order(), later, other)]
    assert "The plan below" not in said(look(owner_client, ADDRESS))


def test_who_sees_no_plan_is_not_told_of_one(viewer_client, planner):
    planner.answers = [reorder(order(order_on=ahead(3)))]
    assert "The plan below" not in said(look(viewer_client, ADDRESS))
