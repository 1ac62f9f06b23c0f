"""A making repeated: planned as it was, with what differs this time (scenario H4, invented)."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from fibres.models import Addition
from orders import repeating
from orders.calc.differences import Verdict
from orders.makings import finish, log
from orders.makings.sheet import sheet_of
from orders.models import Making
from studio.errors import StudioError
from tests.builders import (
    KG,
    day,
    make_commission,
    make_dryer,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_mould,
    make_sheet,
    make_vat,
)
from tests.orders.looking import form_data, look, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def mill(owner):
    """Return the earlier making of H4, finished, and its linter and abaca."""
    linter = make_fibre(name="Linter", code="LI", preparation_yield=Decimal("0.98"))
    abaca = make_fibre(name="Abaca", code="AB", preparation_yield=Decimal("0.97"))
    furnish = make_furnish({linter: "0.75", abaca: "0.25"})
    for name, kind, dose in (("Carbonate", "filler", "0.04"), ("Grey-blue", "pigment", "0.018")):
        Addition.objects.create(furnish=furnish, name=name, kind=kind, dose=Decimal(dose))
    mould = make_mould(name="A3", width_um=297_000, height_um=420_000)
    sheet = make_sheet(
        furnish,
        name="A3 grey-blue",
        width_um=297_000,
        height_um=420_000,
        grammage=Decimal(160),
        mould=mould,
        non_fibre_share=Decimal("0.06"),
        broke=Decimal("0.07"),
        retree=Decimal("0.05"),
    )
    # LI-19 held just what the earlier making took: it is used up.
    old = make_lot(linter, as_is_mg=6 * KG, moisture="0.081")
    kept = make_lot(abaca, as_is_mg=6 * KG, moisture="0.09")
    making = make_making(
        sheet,
        wanted_good=300,
        mould=mould,
        vat=make_vat(),
        dryer=make_dryer(),
        drying="restraint",
        consistency=Decimal("0.005"),
        beaten_minutes=55,
        sample="R-17",
    )
    log.start(making, by=owner)
    # 6 kg × 0.919 × 0.98 = 5.40372 kg of linter; abaca 1.80124 kg is a quarter of the whole.
    log.issue(making, old, as_is_mg=6 * KG, by=owner)
    log.issue(making, kept, as_is_mg=2_040_598, by=owner)
    # 4 % and 1.8 % of 7.205 kg.
    log.dose(making, "Carbonate", kind="filler", mass_mg=288_200, by=owner)
    log.dose(making, "Grey-blue", kind="pigment", mass_mg=129_690, bottle="bottle 3", by=owner)
    log.tap(making, "good", post=1, change=300, by=owner)
    log.note_heel(making, "none", by=owner)
    earlier = finish.finish(making, accept_over=True, by=owner)
    return earlier, linter, abaca


def plan_again(mill, owner, **changes):
    earlier, linter, _ = mill
    make_lot(linter, as_is_mg=5 * KG, moisture="0.072")
    given = {"wanted_good": 180, "planned_on": day(), "by": owner, **changes}
    return repeating.repeat(earlier, **given)


def compared(making, owner):
    making = Making.objects.select_related("repeats").get(pk=making.pk)
    found = repeating.compared(making, sheet_of(making, day()), user=owner)
    return found, {line.what: line for line in found.lines}


def test_repeated_making_is_planned_as_the_earlier_one_was(mill, owner):
    earlier, *_ = mill
    again = plan_again(mill, owner)
    assert again.repeats == earlier
    assert again.state == Making.State.PLANNED
    for name in ("sheet", "mould", "vat", "dryer", "drying", "consistency", "beaten_minutes"):
        assert getattr(again, name) == getattr(earlier, name)
    # H4: 180 good at 88 % are 204.5 pulls on average; the safe count is above that.
    assert again.pulls >= 205
    assert (again.sample, again.posts.count(), again.issues.count()) == ("", 0, 0)


def test_h4_new_linter_lot_differs_and_its_moisture_is_taken_into_account(mill, owner):
    found, lines = compared(plan_again(mill, owner), owner)
    assert lines["Linter lot"].verdict is Verdict.TRIAL
    moisture = lines["Linter moisture"]
    assert (moisture.earlier, moisture.now) == ("8.1\u00a0%", "7.2\u00a0%")
    assert moisture.verdict is Verdict.RECKONED
    assert "Form a trial post and compare it with R-17 before you run it." in found.said
    same = {what for what, line in lines.items() if line.verdict is Verdict.SAME}
    assert {
        "Abaca lot", "Abaca moisture", "Linter share", "Abaca share", "Carbonate dose",
        "Grey-blue dose", "Beaten", "Mould", "Drying", "Dryer", "Vat", "Consistency of the vat",
    } <= same  # fmt: skip


def test_h4_new_bottle_differs_once_it_is_noted(mill, owner):
    again = plan_again(mill, owner)
    _, lines = compared(again, owner)
    assert lines["Grey-blue bottle"].verdict is Verdict.OPEN
    _, linter, abaca = mill
    log.start(again, by=owner)
    log.issue(again, linter.lots.last(), as_is_mg=3 * KG, by=owner)
    log.issue(again, abaca.lots.first(), as_is_mg=1_030_000, by=owner)
    # 1.8 % of 2.72832 + 0.909181 kg.
    log.dose(again, "Grey-blue", kind="pigment", mass_mg=65_475, bottle="bottle 4", by=owner)
    _, lines = compared(again, owner)
    bottle = lines["Grey-blue bottle"]
    assert (bottle.earlier, bottle.now, bottle.verdict) == ("bottle 3", "bottle 4", Verdict.TRIAL)


def test_finished_repeat_is_compared_by_what_was_issued(mill, owner):
    again = plan_again(mill, owner)
    _, linter, _ = mill
    log.start(again, by=owner)
    log.issue(again, linter.lots.last(), as_is_mg=3 * KG, by=owner)
    log.note_heel(again, "none", by=owner)
    finish.finish(again, accept_over=True, by=owner)
    found, lines = compared(again, owner)
    assert lines["Abaca share"].now == ""
    assert lines["Carbonate dose"].why == "left out now"
    assert "Compare a sheet with R-17." in found.said


def test_what_is_closed_by_now_is_left_open_and_shown_as_not_known(mill, owner):
    earlier, *_ = mill
    earlier.mould.closed_on = earlier.dryer.closed_on = day()
    earlier.mould.save()
    earlier.dryer.save()
    again = plan_again(mill, owner)
    assert (again.mould, again.dryer) == (None, None)
    _, lines = compared(again, owner)
    assert lines["Mould"].verdict is Verdict.OPEN


def again_without(mill, owner):
    """Plan the making again while no linter is left, and abaca is there."""
    earlier, *_ = mill
    return repeating.repeat(earlier, wanted_good=180, planned_on=day(), by=owner)


def test_furnish_is_compared_where_a_fibre_has_no_lot(mill, owner):
    _, lines = compared(again_without(mill, owner), owner)
    shares = {what: (lines[what].earlier, lines[what].now) for what in lines if "share" in what}
    assert shares == {
        "Linter share": ("75\u00a0%", "75\u00a0%"), "Abaca share": ("25\u00a0%", "25\u00a0%")
    }  # fmt: skip
    lot = lines["Linter lot"]
    assert (lot.now, lot.verdict, lot.why) == ("", Verdict.OPEN, "no lot is left for it")
    assert lines["Abaca lot"].verdict is Verdict.SAME
    assert lines["Carbonate dose"].verdict is Verdict.SAME


def test_changed_furnish_differs_though_no_lot_is_there(mill, owner):
    again, (_, linter, abaca) = again_without(mill, owner), mill
    for fibre, share in ((linter, "0.5"), (abaca, "0.5")):
        fibre.furnish_parts.update(share=Decimal(share))
    _, lines = compared(again, owner)
    share = lines["Linter share"]
    assert (share.now, share.why) == ("50\u00a0%", "another furnish")


def test_substitute_that_was_used_before_stands_for_its_part(mill, owner):
    _, linter, _ = mill
    part = linter.furnish_parts.get()
    part.fibre = make_fibre(name="Cotton rag")
    part.save()
    part.substitutes.set([linter])
    _, lines = compared(again_without(mill, owner), owner)
    assert lines["Linter share"].verdict is Verdict.SAME
    assert "Cotton rag share" not in lines


def test_making_without_a_sheet_is_compared_by_its_furnish(mill, owner):
    again = Making.objects.select_related("repeats").get(pk=again_without(mill, owner).pk)
    found = repeating.compared(again, None, user=owner)
    lines = {line.what: line for line in found.lines}
    assert lines["Abaca share"].verdict is Verdict.SAME
    assert lines["Abaca lot"].why == "its making sheet cannot be worked out yet"
    assert "Not known: linter lot, linter moisture, abaca lot" in found.said


def test_making_that_is_not_finished_is_not_repeated(owner):
    with pytest.raises(StudioError, match="Only a finished making can be repeated"):
        repeating.repeat(make_making(), wanted_good=5, planned_on=day(), by=owner)


def test_making_that_repeats_none_is_compared_with_none(owner):
    assert repeating.compared(make_making(), user=owner) is None


# --- the pages ----------------------------------------------------------------------------------


def test_form_offers_the_commission_that_waits_and_plans(mill, hand_client):
    earlier, *_ = mill
    waits = make_commission(earlier.sheet, good_quantity=180, title="Archive cards")
    make_commission(title="Of another sheet")
    address = reverse("making_repeat", args=[earlier.ref])
    page = look(hand_client, address)
    assert "Archive cards" in said(page)
    assert "Of another sheet" not in said(page)
    sent = form_data(page)
    assert (sent["commission"], sent["wanted_good"]) == (str(waits.pk), "180")
    response = hand_client.post(address, sent)
    again = Making.objects.get(repeats=earlier)
    assert response.url == again.get_absolute_url()
    assert again.commission == waits
    assert hand_client.post(address, sent).url == again.get_absolute_url()
    assert Making.objects.filter(repeats=earlier).count() == 1


def test_form_refuses_no_sheets_and_keeps_what_was_typed(mill, hand_client):
    earlier, *_ = mill
    address = reverse("making_repeat", args=[earlier.ref])
    tomorrow = day() + timedelta(days=1)
    sent = form_data(look(hand_client, address), wanted_good=0, planned_on=tomorrow)
    page = hand_client.post(address, sent).content.decode()
    assert "Give 1 or more, got 0\u00a0sheets." in page
    assert tomorrow.isoformat() in page
    assert not Making.objects.filter(repeats=earlier).exists()


def test_page_of_a_finished_making_leads_to_repeat_for_who_may_plan(
    mill, hand_client, viewer_client
):
    earlier, *_ = mill
    address = reverse("making_repeat", args=[earlier.ref])
    links = [one.attrs["href"] for one in look(hand_client, earlier.get_absolute_url()).all("a")]
    assert address in links
    page = look(viewer_client, earlier.get_absolute_url())
    assert address not in [one.attrs.get("href") for one in page.all("a")]


def test_page_of_the_repeat_lists_the_differences(mill, owner, hand_client):
    again = plan_again(mill, owner)
    words = said(look(hand_client, again.get_absolute_url()))
    assert "compare it with R-17 before you run it" in words
    assert "new lot: other colour or length" in words


def test_planned_making_leads_back_where_somebody_asks_to_repeat_it(hand_client):
    making = make_making()
    response = hand_client.get(reverse("making_repeat", args=[making.ref]))
    assert response.url == making.get_absolute_url()


# --- sample and report --------------------------------------------------------------------------


def test_report_that_came_later_lets_the_making_say_tested(mill, hand_client):
    earlier, *_ = mill
    address = reverse("making_report", args=[earlier.ref])
    sent = form_data(look(hand_client, address), test_report="4711 of 3 May 2026")
    assert hand_client.post(address, sent).url == earlier.get_absolute_url()
    earlier.refresh_from_db()
    assert (earlier.sample, earlier.test_report) == ("R-17", "4711 of 3 May 2026")
    words = said(look(hand_client, earlier.get_absolute_url()))
    assert "Tested, see report 4711 of 3 May 2026." in words
    assert "Aimed at" not in words
