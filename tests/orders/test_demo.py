"""The demo comes out as scenario H1 says, stands by itself, and is made through the services."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings
from django.core.management import CommandError, call_command
from django.db import connections
from django.utils import timezone

from fibres.audit import audit
from fibres.models import Lot, Movement
from orders import answers, demo, services, snapshot, thanking
from orders.calc.cover import Cover
from orders.calc.sheets import average_pulls, need_mg
from orders.models import Commission, Sheet
from studio import people, serving
from studio.errors import StudioError
from studio.models import Entry, Mould, Studio
from tests.builders import make_source

LINTER, ABACA = "Cotton linter sheet", "Abaca pulp sheet"


@pytest.fixture
def today() -> date:
    return timezone.localdate()


@pytest.fixture
def tarnlow(db: None, today: date) -> Studio:
    people.make_roles()
    return demo.make(today, people.make_owner("demo owner", None))


@pytest.fixture
def own_file(settings: LazySettings, tmp_path: Path, django_db_blocker: Any) -> Iterator[Path]:
    """Let the command switch this process to a file, and switch it back afterwards."""
    settings.DATA_DIR = tmp_path
    settings.DEMO = False
    kept, before = dict(connections.settings["default"]), connections["default"]
    del connections["default"]
    connections.settings["default"]["NAME"] = tmp_path / "own.sqlite3"
    with django_db_blocker.unblock():
        yield tmp_path / "demo.sqlite3"
        connections["default"].close()
    connections.settings["default"].clear()
    connections.settings["default"].update(kept)
    connections["default"] = before


def kilograms(mass_mg: int) -> Decimal:
    return (Decimal(mass_mg) / 1_000_000).quantize(Decimal("0.001"))


def on_hand(*names: str) -> Decimal:
    return kilograms(sum(lot.oven_dry_mg for lot in Lot.objects.filter(fibre__name__in=names)))


def needs(cover: Cover) -> dict[str, Decimal]:
    needed: dict[str, int] = {}
    for answer in cover.commissions:
        for plan in services.plan_by_fibre(answer):
            needed[plan.fibre] = needed.get(plan.fibre, 0) + plan.needs_mg
    return {name: kilograms(mass) for name, mass in needed.items()}


# --- scenario H1: figures as printed in the trade notes, from the formulas printed there ------


def test_the_lots_hold_what_the_scenario_says(tarnlow: Studio) -> None:
    assert on_hand(LINTER) == Decimal("18.595")
    assert on_hand(ABACA) == Decimal("4.050")
    assert on_hand(LINTER, ABACA) == Decimal("22.645")


def test_the_promises_need_what_the_scenario_says(tarnlow: Studio, today: date) -> None:
    needed = needs(services.cover(today))
    assert needed == {LINTER: Decimal("17.020"), ABACA: Decimal("4.410")}
    # Printed as 21.431: rounded after adding, and so one gram more than the two above.
    assert abs(sum(needed.values()) - Decimal("21.431")) <= Decimal("0.001")


@pytest.mark.parametrize(
    ("ref", "formed", "vat"),
    [("C-001", 137, "13.857"), ("C-002", 455, "3.334"), ("C-003", 69, "3.767")],
)
def test_each_commission_is_formed_of_what_the_scenario_says(
    tarnlow: Studio, ref: str, formed: int, vat: str
) -> None:
    commission = Commission.objects.select_related("sheet__mould").get(ref=ref)
    spec = snapshot.spec_of(commission.sheet, tarnlow, snapshot.read_shrinkages())
    assert average_pulls(spec, commission.good_quantity) == formed
    assert kilograms(need_mg(spec, commission.good_quantity)) == Decimal(vat)


def test_abaca_alone_is_short_and_45_of_60_can_be_made(tarnlow: Studio, today: date) -> None:
    cover = services.cover(today)
    states = {answer.ref: answer.state for answer in cover.commissions}
    assert states["C-003"] == "short"
    assert "short" not in (states["C-001"], states["C-002"])
    short = cover.of("C-003")
    assert short is not None
    assert [(lack.fibres, kilograms(lack.oven_dry_mg)) for lack in short.short] == [
        ((ABACA,), Decimal("0.360"))
    ]
    assert (short.covered_sheets, short.wanted) == (45, 60)


def test_with_the_days_of_the_first_and_last_swapped_the_first_is_short(
    tarnlow: Studio, today: date
) -> None:
    first, last = (Commission.objects.get(ref=ref) for ref in ("C-001", "C-003"))
    first.due, last.due = last.due, first.due
    first.save()
    last.save()
    cover = services.cover(today)
    assert [answer.ref for answer in cover.commissions if answer.short] == ["C-001"]


def test_days_due_are_counted_from_the_day_it_is_made(tarnlow: Studio, today: date) -> None:
    due = dict(Commission.objects.values_list("ref", "due"))
    days = [(due[f"C-00{number}"] - today) // timedelta(days=1) for number in (1, 2, 3)]
    assert days == [5, 19, 33]


def test_counting_the_quoted_commission_too_leaves_the_three_as_they_are(
    tarnlow: Studio, today: date
) -> None:
    without = {answer.ref: answer.short for answer in services.cover(today).commissions}
    counted = {
        answer.ref: answer.short for answer in services.cover(today, with_quoted=True).commissions
    }
    assert set(counted) == set(without) | {"C-004"}
    assert {ref: counted[ref] for ref in without} == without


@pytest.mark.parametrize("sheet", ["Broadside 559 × 762, 250 g/m²", "Print 457 × 610, 200 g/m²"])
def test_moulds_shrink_to_their_sheets(tarnlow: Studio, sheet: str) -> None:
    """Dry size is the opening less shrinkage each way, to the millimetre."""
    found = Sheet.objects.select_related("mould").get(name=sheet)
    shrinkage = found.furnish.shrinkages.get(drying=found.drying)
    assert found.mould is not None
    across = found.mould.width_um * (1 - shrinkage.across)
    along = found.mould.height_um * (1 - shrinkage.along)
    assert abs(across - found.width_um) < 1000
    assert abs(along - found.height_um) < 1000


# --- that it is real --------------------------------------------------------------------------


def test_every_balance_is_the_sum_of_its_movements(tarnlow: Studio) -> None:
    found = audit()
    assert (found.lots, found.faults) == (Lot.objects.count(), [])


def test_the_ledger_has_each_kind_of_thing_to_look_at(tarnlow: Studio, today: date) -> None:
    kinds = set(Movement.objects.values_list("kind", flat=True))
    assert kinds == {"received", "issued", "corrected"}
    assert Movement.objects.filter(reverses__isnull=False).count() == 1
    assert Lot.objects.filter(moisture_tests__isnull=False).count() == 1
    assert Lot.objects.get(keep_until__isnull=False).keep_until > today
    assert {commission.state for commission in Commission.objects.all()} == {
        "agreed",
        "quoted",
        "enquiry",
    }


def test_everything_was_entered_by_the_owner(tarnlow: Studio) -> None:
    assert {entry.who for entry in Entry.objects.select_related("by")} == {"demo owner"}


def test_a_slip_was_put_right_to_what_the_scale_said(tarnlow: Studio) -> None:
    # 3.20 kg at 8 % is 2.944 kg oven-dry.
    assert Lot.objects.get(fibre__name="Kraft bags").oven_dry_mg == 2_944_000


def test_it_is_made_in_an_empty_database_alone(db: None, today: date) -> None:
    make_source()
    with pytest.raises(StudioError, match="this one holds a studio"):
        demo.make(today, None)
    assert not Mould.objects.exists()


# --- the answers ------------------------------------------------------------------------------


def test_the_first_answer_names_the_fibre_the_mass_and_the_sheets(
    tarnlow: Studio, today: date
) -> None:
    lines = answers.does_it_cover(today)
    assert "0.360\u00a0kg oven-dry of Abaca pulp sheet is missing" in lines[0]
    assert "45 of 60 good sheets can be made" in next(
        line for line in lines if line.startswith("C-003, 60 good sheets")
    )
    assert (
        f"{ABACA}: 4.410\u00a0kg promised, 4.050\u00a0kg in store, 0.360\u00a0kg short." in lines
    )
    assert lines[-1].replace("\u00a0", " ") == (
        "In all 21.431 kg oven-dry is promised and 22.645 kg of these fibres is in store."
    )


def test_one_promise_of_one_fibre_has_no_line_for_the_sum(tarnlow: Studio, today: date) -> None:
    Commission.objects.exclude(ref="C-002").update(state="withdrawn")
    lines = answers.does_it_cover(today)
    assert lines[0] == "The store covers the one promise."
    assert lines[-1].startswith(f"{LINTER}: 3.403\u00a0kg promised, 18.595\u00a0kg in store")


def test_the_second_answer_is_the_sum_of_its_parts(tarnlow: Studio, today: date) -> None:
    commission = Commission.objects.get(ref="C-001")
    first, second = answers.what_it_costs(commission, today)
    total, _, parts = first.partition(" when 120 are made: ")
    amounts = [Decimal(word.strip(",.").lstrip("£")) for word in parts.split() if "£" in word]
    assert abs(sum(amounts) - Decimal(total.rpartition("£")[2])) <= Decimal("0.04")
    assert "sizing, filler and pigment" in parts
    # A margin of 30 % kept of the price: price = cost / 0.7.
    price = Decimal(second.partition("£")[2].split()[0].rstrip(","))
    assert abs(price * Decimal("0.7") - Decimal(total.rpartition("£")[2])) <= Decimal("0.01")


def test_a_markup_is_called_a_markup_and_a_missing_price_is_named(
    tarnlow: Studio, today: date
) -> None:
    Studio.objects.update(price_by="markup")
    Lot.objects.filter(fibre__name=LINTER).update(paid_minor=None)
    lines = answers.what_it_costs(Commission.objects.get(ref="C-002"), today)
    assert "30 % of the cost added as markup" in lines[1].replace("\u00a0", " ")
    assert lines[2] == f"No price is known for {LINTER}: counted as nothing."


def test_the_third_answer_counts_the_sheets_of_each_gift(tarnlow: Studio) -> None:
    lines = answers.what_scrap_makes(Sheet.objects.get(commissions__ref="C-002"))
    assert len(lines) == 2
    # 2.944 kg × 0.92 = 2.70848 kg usable. A pull takes 120 × 0.210 × 0.297 × 0.94 / 0.96
    # = 7.328475 g: 369 pulls, of which 88 % are good: 324.
    assert lines[1].endswith(
        "Kitchen drop: 3.20 kg came in, 2.94 kg oven-dry is left, and 2.71 kg of it is usable. "
        "It makes about 324 good sheets of Text A4, 120 g/m².".replace(" kg", "\u00a0kg")
    )


def test_the_answers_are_in_pounds_where_the_studio_measures_in_them(
    tarnlow: Studio, today: date
) -> None:
    Studio.objects.update(units="US")
    lines = [
        *answers.does_it_cover(today),
        *answers.what_scrap_makes(Sheet.objects.get(commissions__ref="C-002")),
    ]
    assert not [line for line in lines if "\u00a0kg" in line]
    # 4.410 kg and 4.050 kg, at 0.45359237 kg a pound.
    said = " ".join(lines).replace("\u00a0", " ")
    assert f"{ABACA}: 9 lb 11.6 oz promised, 8 lb 14.9 oz in store" in said


def test_a_store_without_scrap_says_so(tarnlow: Studio) -> None:
    Lot.objects.filter(fibre__is_scrap=True).update(oven_dry_mg=0)
    assert answers.what_scrap_makes(Sheet.objects.first()) == ["No scrap is in store."]


# --- the command ------------------------------------------------------------------------------


def run(**options: Any) -> str:
    """Run the command, and leave the process as one that has a database of its own again."""
    own = connections.settings["default"]["NAME"]
    out = StringIO()
    call_command("demo", stdout=out, **options)
    connections.settings["default"]["NAME"] = own
    return out.getvalue()


def test_the_command_makes_the_file_and_prints_the_three_answers(own_file: Path) -> None:
    said = run(no_serve=True)
    assert own_file.is_file()
    for question in ("cover what is promised?", "sheet of C-001 cost?", "what does it make?"):
        assert question in said
    assert "0.360\u00a0kg oven-dry of Abaca pulp sheet is missing" in said
    assert "45 of 60 good sheets can be made" in said


def test_the_command_starts_afresh_and_touches_no_other_file(own_file: Path) -> None:
    other = own_file.with_name("halfstuff.sqlite3")
    other.write_bytes(b"somebody's own")
    own_file.write_bytes(b"not a database")
    for suffix in ("-journal", "-wal", "-shm"):
        own_file.with_name(own_file.name + suffix).write_bytes(b"left over")
    run(no_serve=True)
    Studio.objects.update(name="Changed since")
    run(no_serve=True)
    assert Studio.objects.get().name == "Tarnlow Vat Yard"
    assert other.read_bytes() == b"somebody's own"
    assert not own_file.with_name("demo.sqlite3-journal").exists()


def test_the_command_refuses_where_the_studio_itself_is_kept_in_that_file(
    own_file: Path,
) -> None:
    own_file.write_bytes(b"somebody's own")
    connections.settings["default"]["NAME"] = own_file
    with pytest.raises(CommandError, match="the demo would replace it"):
        run(no_serve=True)
    assert own_file.read_bytes() == b"somebody's own"


def test_a_file_that_cannot_be_removed_is_named(own_file: Path) -> None:
    own_file.mkdir()
    with pytest.raises(CommandError, match="demo of last time cannot be removed"):
        run(no_serve=True)


def test_demo_mode_is_on_only_while_it_serves(
    own_file: Path, settings: LazySettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    run(no_serve=True)
    assert settings.DEMO is False
    served = []
    monkeypatch.setattr(
        serving, "serve", lambda taken, say: served.append((taken.getsockname(), settings.DEMO))
    )
    run(port="0")
    ((host, _port), was_demo) = served[0]
    assert (host, was_demo) == ("127.0.0.1", True)


def test_a_port_in_use_leaves_the_demo_that_uses_it_alone(own_file: Path) -> None:
    own_file.write_bytes(b"being served")
    with serving.listen(0) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(CommandError, match=rf"Port {port} is in use\."):
            run(port=port)
    assert own_file.read_bytes() == b"being served"


def test_donors_wait_for_thanks_and_something_became_of_a_gift(
    tarnlow: Studio, today: date
) -> None:
    waiting = thanking.gifts_to_thank_for(today, Entry.objects.exclude(by=None)[0].by)
    assert [gift.source.name for gift in waiting] == ["Nettlebank School", "Kitchen drop"]
    assert [sum(made.good for made in gift.became) for gift in waiting] == [166, 0]
    assert thanking.donors_waiting(today) == 2
