"""The making sheet on paper: printed by Chromium, it is one page, of A4 and of letter."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from fibres.models import Addition, Fibre
from orders.models import Making
from tests.builders import (
    day,
    make_commission,
    make_dryer,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_mould,
    make_sheet,
    make_studio,
    make_user,
    make_vat,
)

pytestmark = pytest.mark.django_db(transaction=True)
# One leaf of the document's tree of pages; the tree itself is of type Pages.
LEAF = re.compile(rb"/Type\s*/Page\b(?!s)")
A4_MM, LETTER_MM = (210, 297), (216, 279)
MM_PER_POINT = 25.4 / 72


def crowded(pulls: int = 131) -> Making:
    """Plan a making with much on it: three fibres, four additions, many top-ups; or six lots."""
    make_studio(trial_pulls=2)
    care = "Dust when it is torn dry; wear a mask and vacuum, do not sweep."
    fibres = {
        make_fibre(name="Cotton linter, sheet pulp", family=Fibre.Family.SEED_HAIR): "0.5",
        make_fibre(name="Flax half-stuff, beaten long", family=Fibre.Family.BAST): "0.3",
        make_fibre(
            name="White office paper, one side printed", family=Fibre.Family.WASTE_PAPER,
            is_scrap=True, source_class="post-consumer", cautions=care,
        ): "0.2",
    }  # fmt: skip
    for fibre in fibres:
        make_lot(fibre, as_is_mg=900_000, place="shelf B2, left")
        make_lot(fibre, as_is_mg=9_000_000, place="tub 4 in the cellar")
    furnish = make_furnish(fibres, name="Endpapers, long and soft")
    for name, kind in (
        ("Chalk", "filler"), ("Blue ochre", "pigment"), ("Alkylketene size", "sizing"),
        ("Formation aid", "formation aid"),
    ):  # fmt: skip
        Addition.objects.create(furnish=furnish, name=name, kind=kind, dose=Decimal("0.02"))
    mould = make_mould(name="Wove mould No. 5", draw_um=24_000)
    sheet = make_sheet(furnish, width_um=320_000, height_um=450_000, mould=mould)
    commission = make_commission(sheet, title="Endpapers for the county atlas")
    return make_making(
        commission=commission, pulls=pulls, mould=mould, vat=make_vat(name="Large vat"),
        dryer=make_dryer(name="Restraint dryer"), planned_on=day(-1),
        remarks="Watermark to the left. Keep sheet 3 and sheet 90 as samples.",
    )  # fmt: skip


@pytest.mark.parametrize("pulls", [131, 1000], ids=["4 lots", "6 lots"])
@pytest.mark.parametrize(
    ("paper", "sides"), [("A4", A4_MM), ("Letter", LETTER_MM)], ids=["A4", "letter"]
)
def test_the_making_sheet_is_one_page(
    visit: Any, transactional_db: None, paper: str, sides: tuple[int, int], pulls: int
) -> None:
    making = crowded(pulls)
    page = visit(reverse("making_sheet", args=[making.ref]), user=make_user("owner"), theme="dark")
    printed = page.pdf(format=paper, prefer_css_page_size=False)
    assert len(LEAF.findall(printed)) == 1
    box = re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", printed)
    assert box
    assert tuple(round(float(side) * MM_PER_POINT) for side in box.groups()) == sides


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_stays_one_page_with_all_there_is_to_look_at_first(
    visit: Any, transactional_db: None, paper: str
) -> None:
    making = crowded()
    commission = making.commission
    commission.due = day(-2)
    commission.save()
    make_commission(making.sheet, good_quantity=850)
    make_making(making.sheet, dryer=making.dryer, planned_on=day(-1))
    page = visit(reverse("making_sheet", args=[making.ref]), user=make_user("owner"))
    assert page.locator(".making-sheet > p").count() >= 3
    assert len(LEAF.findall(page.pdf(format=paper, prefer_css_page_size=False))) == 1


def test_paper_is_read_at_arms_length(visit: Any, transactional_db: None) -> None:
    """What is weighed is printed at 17 points: about 4 mm to a figure, from memory."""
    making = crowded()
    page = visit(reverse("making_sheet", args=[making.ref]), user=make_user("owner"))
    page.emulate_media(media="print")
    sizes = page.eval_on_selector_all(
        ".weigh .big", "cells => cells.map(cell => parseFloat(getComputedStyle(cell).fontSize))"
    )
    assert len(sizes) >= 3
    assert {round(size * 72 / 96, 1) for size in sizes} == {17.0}
    hidden = page.eval_on_selector_all(
        ".band, .head, .colophon", "all => all.map(one => getComputedStyle(one).display)"
    )
    assert set(hidden) == {"none"}
