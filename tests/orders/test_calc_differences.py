"""What differs from the making that is repeated.

H4 is the invented scenario of that name; which lines are compared is common practice, no source.
"""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from orders.calc.differences import (
    DoseUsed,
    LotUsed,
    MakingFacts,
    Verdict,
    conclusion,
    differences,
)

# H4: A3 of 160 g/m², linter 75 / abaca 25, carbonate 4 %, pigment 1.8 % on fibre, beaten 55
# minutes, dried under restraint, sample R-17 kept.
EARLIER = MakingFacts(
    ref="M-2023-17",
    lots=(
        LotUsed("Linter", "LI-19", Decimal("0.081"), Fraction(3, 4)),
        LotUsed("Abaca", "AB-11", Decimal("0.090"), Fraction(1, 4)),
    ),
    doses=(
        DoseUsed("Calcium carbonate", "filler", Fraction(4, 100)),
        DoseUsed("Grey-blue", "pigment", Fraction(18, 1000), "bottle 3"),
    ),
    size="297 × 420 mm",
    grammage="160 g/m²",
    mould="A3",
    drying="Held flat in the dryer",
    dryer="Restraint dryer",
    vat="Large vat",
    consistency=Decimal("0.005"),
    beaten_minutes=55,
    sample="R-17",
)
NOW = replace(
    EARLIER,
    ref="M-0002",
    lots=(
        LotUsed("Linter", "LI-22", Decimal("0.072"), Fraction(3, 4)),
        LotUsed("Abaca", "AB-11", Decimal("0.090"), Fraction(1, 4)),
    ),
    # 67.8 g of pigment on 3.766 kg of fibre is 1.8 %.
    doses=(
        DoseUsed("Calcium carbonate", "filler", Fraction(4, 100)),
        DoseUsed("Grey-blue", "pigment", Fraction(67_800, 3_766_000), "bottle 4"),
    ),
    sample="",
)


def verdicts(now, earlier=EARLIER):
    return {line.what: line.verdict for line in differences(earlier, now)}


def line_of(what, now, earlier=EARLIER):
    (found,) = [line for line in differences(earlier, now) if line.what == what]
    return found


def test_h4_new_linter_lot_and_new_bottle_differ_and_all_else_is_the_same():
    found = verdicts(NOW)
    assert {what for what, verdict in found.items() if verdict is Verdict.TRIAL} == {
        "Linter lot",
        "Grey-blue bottle",
    }
    assert {what for what, verdict in found.items() if verdict is Verdict.RECKONED} == {
        "Linter moisture"
    }
    same = {what for what, verdict in found.items() if verdict is Verdict.SAME}
    assert same == {
        "Dry size", "Grammage", "Linter share", "Abaca share", "Abaca lot", "Abaca moisture",
        "Calcium carbonate dose", "Grey-blue dose", "Beaten", "Vat", "Consistency of the vat",
        "Mould", "Drying", "Dryer",
    }  # fmt: skip


def test_h4_moisture_is_shown_then_and_now():
    line = line_of("Linter moisture", NOW)
    assert (line.earlier, line.now) == ("8.1\u00a0%", "7.2\u00a0%")
    assert line.why == "weighed out by dry fibre, so it is even"


def test_h4_asks_for_a_trial_post_beside_the_sample():
    words = conclusion(differences(EARLIER, NOW), earlier="M-2023-17", sample="R-17")
    assert words == (
        "2 things differ: linter lot and grey-blue bottle. Form a trial post and compare it with "
        "R-17 before you run it."
    )


def test_nothing_different_asks_for_nothing():
    lines = differences(EARLIER, replace(EARLIER, ref="M-0002"))
    assert {line.verdict for line in lines} == {Verdict.SAME}
    assert conclusion(lines, earlier="M-2023-17") == (
        "Everything that is known is as it was in M-2023-17."
    )


@pytest.mark.parametrize(
    ("changed", "what"),
    [
        ({"drying": "Loft, hung free"}, "Drying"),
        ({"mould": "A3 laid"}, "Mould"),
        ({"beaten_minutes": 70}, "Beaten"),
        ({"consistency": Decimal("0.006")}, "Consistency of the vat"),
        ({"size": "210 × 297 mm"}, "Dry size"),
        ({"vat": "Small vat"}, "Vat"),
    ],
)
def test_each_change_of_how_it_is_made_asks_for_a_trial(changed, what):
    now = replace(EARLIER, ref="M-0002", **changed)
    found = [name for name, verdict in verdicts(now).items() if verdict is not Verdict.SAME]
    assert found == [what]
    assert line_of(what, now).verdict is Verdict.TRIAL


def test_nothing_weighed_out_yet_leaves_the_lots_open():
    now = replace(NOW, lots=())
    line = line_of("Linter lot", now)
    assert (line.earlier, line.now, line.verdict) == ("LI-19", "", Verdict.OPEN)
    words = conclusion(differences(EARLIER, now), earlier="M-2023-17", sample="R-17")
    assert "Not known: linter lot and abaca lot." in words


def test_fibre_without_a_lot_is_compared_by_its_share_and_says_why_not_by_more():
    none = LotUsed("Linter", "", None, Fraction(3, 4), "no lot is left for it")
    now = replace(NOW, lots=(none, EARLIER.lots[1]))
    assert line_of("Linter share", now).verdict is Verdict.SAME
    lot = line_of("Linter lot", now)
    assert (lot.earlier, lot.now, lot.verdict) == ("LI-19", "", Verdict.OPEN)
    assert lot.why == "no lot is left for it"
    moisture = line_of("Linter moisture", now)
    assert (moisture.earlier, moisture.now) == ("8.1\u00a0%", "")
    assert (moisture.verdict, moisture.why) == (Verdict.OPEN, "the lot will tell it")
    assert verdicts(now)["Abaca lot"] is Verdict.SAME


def test_lot_that_holds_too_little_leaves_the_rest_open():
    rest = LotUsed("Linter", "", None, Fraction(0), "no lot is left for the rest")
    line = line_of("Linter lot", replace(NOW, lots=(*EARLIER.lots, rest)))
    assert (line.now, line.verdict, line.why) == (
        "LI-19", Verdict.OPEN, "no lot is left for the rest",
    )  # fmt: skip


def test_fibre_without_a_lot_that_was_not_in_it_is_another_paper():
    none = LotUsed("Flax", "", None, Fraction(1, 10), "no lot is left for it")
    found = verdicts(replace(EARLIER, lots=(*EARLIER.lots, none)))
    assert found["Flax share"] is Verdict.TRIAL
    assert "Flax lot" not in found


def test_other_share_of_a_fibre_is_another_furnish():
    now = replace(
        NOW,
        lots=(
            LotUsed("Linter", "LI-19", Decimal("0.081"), Fraction(70, 100)),
            LotUsed("Abaca", "AB-11", Decimal("0.090"), Fraction(30, 100)),
        ),
    )
    line = line_of("Linter share", now)
    assert (line.earlier, line.now, line.why) == ("75\u00a0%", "70\u00a0%", "another furnish")


def test_fibre_that_was_not_in_it_is_another_paper():
    lots = (*EARLIER.lots, LotUsed("Flax", "FL-02", Decimal("0.08"), Fraction(1, 10)))
    line = line_of("Flax share", replace(NOW, lots=lots))
    assert (line.earlier, line.verdict) == ("", Verdict.TRIAL)


def test_lot_left_out_is_told_too():
    earlier = replace(
        EARLIER,
        lots=(
            LotUsed("Linter", "LI-18", Decimal("0.08"), Fraction(1, 2)),
            LotUsed("Linter", "LI-19", Decimal("0.08"), Fraction(1, 2)),
        ),
    )
    now = replace(earlier, lots=(LotUsed("Linter", "LI-19", Decimal("0.08"), Fraction(1)),))
    line = line_of("Linter lot", now, earlier)
    assert (line.earlier, line.now, line.why) == ("LI-18, LI-19", "LI-19", "one lot less")


def test_dose_is_compared_on_dry_fibre_and_what_is_left_out_is_told():
    less = DoseUsed("Calcium carbonate", "filler", Fraction(3, 100))
    line = line_of("Calcium carbonate dose", replace(NOW, doses=(less,)))
    assert (line.earlier, line.now, line.verdict) == ("4\u00a0%", "3\u00a0%", Verdict.TRIAL)
    gone = line_of("Grey-blue dose", replace(NOW, doses=(less,)))
    assert gone.why == "left out now"


def test_bottle_that_nobody_noted_is_not_known():
    dose = DoseUsed("Grey-blue", "pigment", Fraction(18, 1000))
    line = line_of("Grey-blue bottle", replace(NOW, doses=(dose,)))
    assert (line.verdict, line.why) == (Verdict.OPEN, "not noted yet")
    assert line_of("Grey-blue bottle", NOW).why == "new bottle: compare the colour"


def test_sheet_of_the_earlier_making_stands_in_where_no_sample_was_kept():
    lines = differences(EARLIER, NOW)
    assert "compare it with a sheet of M-1" in conclusion(lines, earlier="M-1")
    assert "Compare a sheet with R-17." in conclusion(
        lines, earlier="M-1", sample="R-17", is_planned=False
    )
