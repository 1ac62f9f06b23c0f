"""A making day on a phone: start, weigh out, tap, finish; with script and without."""

from __future__ import annotations

import time
from decimal import Decimal
from typing import Any

import pytest

from orders.makings.finish import balance_of
from orders.models import Making, SheetMovement
from tests.browser.screen import overhang
from tests.builders import KG, make_commission, make_furnish, make_lot, make_making, make_sheet
from tests.orders.vatdays import broke_fibre

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def hand_in_browser(transactional_db: None) -> Any:
    from studio.roles import HAND
    from tests.builders import make_user

    return make_user(HAND)


@pytest.mark.parametrize("script", [False, True])
def test_a_making_is_started_weighed_tapped_and_finished(
    visit: Any, hand_in_browser: Any, script: bool
) -> None:
    lot = make_lot(moisture="0.08")
    own = broke_fibre()
    commission = make_commission(make_sheet(make_furnish({lot.fibre: "1"})))
    making = make_making(commission=commission)

    page = visit(f"/makings/{making.ref}/log/", width=360, user=hand_in_browser, script=script)
    page.get_by_role("button", name="Start the making").click()

    page.get_by_role("link", name=f"Weigh out {lot.ref}").click()
    page.get_by_label("Mass as it is", exact=True).fill("2 kg")
    page.get_by_role("button", name="Note it").click()
    assert "1.84" in page.locator("#issues").inner_text()

    for name in ("+5 Pulls", "+5 Pulls", "+1 Pulls", "−1 Pulls", "+10 Good", "+1 Retree"):
        page.get_by_role("button", name=name).click()
    assert page.locator("#fault-taps").is_hidden()
    page.get_by_text("Faults seen in post 1").click()
    page.get_by_role("button", name="+1 Hole").click()
    page.locator("#fault-hole", has_text="1").wait_for()
    assert page.evaluate("document.activeElement.textContent") == "+1 Hole"
    assert shown(page) == {"pulls": "10", "good": "10", "retree": "1", "broke": "0"}
    post = making.posts.get()
    assert (post.pulls, post.good, post.retree) == (10, 10, 1)

    page.get_by_role("link", name="Weigh the broke").click()
    page.get_by_label("Mass as it is", exact=True).fill("400 g")
    page.get_by_label("Moisture").fill("65")
    page.get_by_label("Kept as").select_option(label=own.name)
    page.get_by_role("button", name="Note it").click()
    page.get_by_role("link", name="Say what is left").click()
    page.get_by_label("Nothing left").check()
    page.get_by_role("button", name="Note it").click()

    page.get_by_role("link", name="Finish the making").click()
    told = page.locator("table.sum").first.inner_text()
    assert "Broke kept" in told
    assert not SheetMovement.objects.exists()
    page.get_by_role("button", name="Finish the making").click()

    assert "is finished, and the store is up to date" in page.locator("main").inner_text()
    done = Making.objects.get(pk=making.pk)
    found = balance_of(done)
    # 2 kg at 8 % less eleven A4 of 7.035336 g and 400 g of broke at 65 %: 1840 − 77.389 − 140.
    assert (found.issued_mg, found.lost_mg) == (1_840_000, 1_622_612)
    assert done.broke_lot.moisture == Decimal("0.65")
    lot.refresh_from_db()
    assert lot.oven_dry_mg == 9_200_000 - 1_840_000
    commission.refresh_from_db()
    assert commission.state == "making"


def shown(page: Any) -> dict[str, str]:
    """Return the counts that stand on the page."""
    names = ("pulls", "good", "retree", "broke")
    return {name: page.locator(f"#count-{name}").inner_text() for name in names}


def slowly(route: Any) -> None:
    """Let a tap take long enough for the next one to come before its answer."""
    time.sleep(0.3)
    route.continue_()


def test_quick_taps_on_one_page_are_all_counted(visit: Any, hand_in_browser: Any) -> None:
    making = make_making()
    page = visit(f"/makings/{making.ref}/log/", width=360, user=hand_in_browser)
    page.get_by_role("button", name="Start the making").click()
    page.route("**/tap/", slowly)
    place = page.evaluate("window.scrollY")

    page.get_by_role("button", name="+1 Pulls").dblclick()
    page.get_by_role("button", name="+1 Broke").dblclick()
    page.get_by_role("button", name="+1 Good").click()
    page.get_by_text("Faults seen in post 1").click()
    for _ in range(2):
        page.get_by_role("button", name="+1 Hole").click()
    page.locator("#fault-hole", has_text="2").wait_for()
    page.locator("#count-good", has_text="1").wait_for()

    assert shown(page) == {"pulls": "2", "good": "1", "retree": "0", "broke": "2"}
    assert page.get_by_role("button", name="+1 Speck or dirt").is_visible()
    assert "2 of 120 pulls" in page.locator(".lede").inner_text()
    assert place == 0
    post = making.posts.get()
    assert (post.pulls, post.broke, post.faults.get().times) == (2, 2, 2)
    # The page that comes anew has the same counts, and a key that counts again.
    page.unroute("**/tap/")
    page.reload()
    page.get_by_role("button", name="+1 Pulls").click()
    page.locator("#count-pulls", has_text="3").wait_for()


def test_without_script_the_page_says_that_quick_taps_are_one(
    visit: Any, hand_in_browser: Any
) -> None:
    making = make_making()
    page = visit(f"/makings/{making.ref}/log/", width=360, user=hand_in_browser, script=False)
    page.get_by_role("button", name="Start the making").click()
    # A browser whose script is only switched off for a test keeps the words, but hides them.
    assert "Wait for the new number between two taps" in page.content()
    sent: dict[str, str] = {}
    page.on(
        "request", lambda one: sent.update(data=one.post_data or "") if one.post_data else None
    )
    page.get_by_role("button", name="+1 Pulls").click()
    page.locator("#count-pulls", has_text="1").wait_for()
    # The same sending again, as a second quick tap or a page from before sends it.
    first = sent["data"]
    headers = {"Content-Type": "application/x-www-form-urlencoded", "Referer": page.url}
    address = f"{visit.url}/makings/{making.ref}/tap/"
    answer = page.request.post(address, data=first, headers=headers)
    assert "counted once" in answer.text()
    assert "If two were meant, tap once more" in answer.text()
    assert making.posts.get().pulls == 1
    # Going back asks for the page anew: it shows what is counted, and a tap on it is a new one.
    page.go_back()
    page.locator("#count-pulls", has_text="1").wait_for()
    page.get_by_role("button", name="+1 Pulls").click()
    page.locator("#count-pulls", has_text="2").wait_for()
    assert making.posts.get().pulls == 2


def test_a_lost_connection_and_a_second_phone_lose_no_tap(
    visit: Any, hand_in_browser: Any
) -> None:
    making = make_making()
    first = visit(f"/makings/{making.ref}/log/", width=360, user=hand_in_browser)
    first.get_by_role("button", name="Start the making").click()
    second = visit(f"/makings/{making.ref}/log/", width=360, user=hand_in_browser)
    plus = {"name": "+1 Pulls"}

    # The tap reaches the studio and its answer is lost: the page stands as it was.
    first.route("**/tap/", lambda route: (route.fetch(max_redirects=0), route.abort("aborted")))
    first.get_by_role("button", **plus).click()
    wait_for_pulls(first, making, 1)
    first.unroute_all(behavior="wait")
    second.get_by_role("button", **plus).click()
    second.locator("#count-pulls", has_text="2").wait_for()
    # Tapped once more on the page as it was, it is known for the same tap.
    first.get_by_role("button", **plus).click()
    first.get_by_text("counted once").wait_for()
    assert shown(first)["pulls"] == "2"
    assert making.posts.get().pulls == 2
    visit.complaints[:] = [said for said in visit.complaints if "htmx:" not in said]


def wait_for_pulls(page: Any, making: Making, pulls: int) -> None:
    """Wait until the studio has counted a tap whose answer nobody sees."""
    for _ in range(100):
        page.wait_for_timeout(100)
        if making.posts.get().pulls == pulls:
            return
    pytest.fail("The tap never reached the studio.")


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_the_log_has_nothing_for_axe_and_every_button_is_large(
    visit: Any, hand_in_browser: Any, width: int, theme: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    from orders.makings import log

    making = log.start(make_making(), by=None)
    log.issue(making, make_lot(), as_is_mg=KG, by=None)
    paths = ["log", "issue", "minutes", "dose", "trial", "heel", "broke", "finish"]
    page = visit("/", width=width, theme=theme, user=hand_in_browser)
    found = []
    for path in paths:
        page.goto(f"{visit.url}/makings/{making.ref}/{path}/")
        found += [f"{path}: {one['id']}" for one in Axe().run(page).response["violations"]]
        if overhang(page):
            found.append(f"{path}: wider than the window")
    assert found == []
    page.goto(f"{visit.url}/makings/{making.ref}/log/")
    for summary in page.locator("#minutes summary, #faults summary").all():
        summary.click()
    tapped = ".taps button, .tapped > summary"
    sizes = [button.bounding_box() for button in page.locator(tapped).all()]
    assert min(box["height"] for box in sizes) >= 52
    assert min(box["width"] for box in sizes) >= 52
