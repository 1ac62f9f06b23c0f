import json

import pytest

from orders.calc.plan import Snapshot, from_json, from_text, to_json
from studio.errors import SnapshotError
from tests.orders.plans import lot, part, plan, promise, share

QUESTION = {"due": "2027-03-10", "pull_mg": 25, "furnish": [part()]}


def faults(changed):
    with pytest.raises(SnapshotError, match=r".") as caught:
        from_json(changed)
    return dict(caught.value.faults)


# --- round trip -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "given",
    [
        plan(),
        plan([lot()], [promise()]),
        plan(
            [
                lot(until="2027-04-01", marks=["scrap"], cost_minor_per_kg=900, as_is_mg=1200),
                lot("L2", "abaca", 5, oven_dry_mg=7),
            ],
            [
                promise(
                    furnish=[share("linter", "0.6"), share("abaca", "0.4")],
                    excludes=["scrap"],
                    only_lots=["L1"],
                    all_or_nothing=True,
                    safe_need_mg=1200,
                    sheets_per_pull=2,
                    good_share="0.88",
                    priority=3,
                ),
            ],
            question=QUESTION,
            yields={"linter": "0.98"},
            sourcing={"horizon_days": 91},
            left_out=[{"ref": "C9", "why": "its sheet does not fit its mould."}],
            aims="cost first",
        ),
    ],
    ids=["empty", "least", "everything"],
)
def test_what_is_written_reads_back_the_same(given):
    snapshot = from_json(given)
    assert from_text(json.dumps(to_json(snapshot))) == snapshot


def test_masses_left_out_are_taken_equal_to_the_usable_mass():
    found = from_json(plan([lot(usable=77)])).lots[0]
    assert (found.oven_dry_mg, found.as_is_mg) == (77, 77)


def test_rank_is_priority_then_due_then_ref():
    given = [
        promise("C3", due="2027-03-02", priority=2),
        promise("C2", due="2027-03-05", priority=1),
        promise("C1", due="2027-03-05", priority=1),
    ]
    ranked = sorted(from_json(plan(commissions=given)).commissions, key=lambda one: one.rank)
    assert [one.ref for one in ranked] == ["C1", "C2", "C3"]


# --- text that is no snapshot -----------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["", "{", "[1, 2", "{'a': 1}", "[" * 100_000, '{"a": NaN}', '{"a": -Infinity}', b"\xff"],
)
def test_text_that_is_not_json_is_refused_in_one_fault(text):
    with pytest.raises(SnapshotError, match="not JSON that can be read") as caught:
        from_text(text)
    assert [path for path, _ in caught.value.faults] == ["$"]


def test_a_byte_order_mark_is_passed_over():
    raw = b"\xef\xbb\xbf" + json.dumps(plan()).encode()
    assert isinstance(from_text(raw), Snapshot)


def test_a_key_given_twice_is_refused_by_name():
    with pytest.raises(SnapshotError, match=r"today: is given twice in one object") as caught:
        from_text('{"today": "2027-03-01", "today": "2027-03-02", "lots": []}')
    assert caught.value.faults[0][0] == "today"


@pytest.mark.parametrize("top", [[], "text", 5, None, True])
def test_anything_but_an_object_is_refused(top):
    assert faults(top) == {"$": f"must be an object, got {top!r}."}


def test_an_empty_object_is_refused():
    with pytest.raises(SnapshotError, match="halfstuff_snapshot: must be 1"):
        from_json({})


OUT = {"ref": "C9", "why": "Its furnish has no fibre."}


@pytest.mark.parametrize(
    ("left_out", "path", "sentence"),
    [
        ({}, "left_out", "must be a list, got {}"),
        ([5], "left_out[0]", "must be an object, got 5"),
        ([{"ref": "C9"}], "left_out[0].why", "is missing"),
        ([{**OUT, "why": "x" * 1001}], "left_out[0].why", "must be text of 1 to 1000 characters"),
        ([{**OUT, "since": 1}], "left_out[0].since", "is not a key of the schema"),
        ([OUT, OUT], "left_out[1].ref", "is given twice"),
    ],
)
def test_what_is_left_out_is_read_as_strictly_as_the_rest(left_out, path, sentence):
    assert sentence in faults(plan(left_out=left_out))[path]


@pytest.mark.parametrize("space", ["\u00a0", "\u202f"])
def test_a_space_that_does_not_break_is_part_of_a_name(space):
    name = f"Linter{space}7"
    assert from_json(plan([lot(name)])).lots[0].ref == name


@pytest.mark.parametrize("letter", ["\n", "\x00", "\x9b", "\u202e", "\u200b"])
def test_a_letter_that_cannot_be_seen_is_refused_in_a_name(letter):
    assert "must be text" in faults(plan([lot(f"Linter{letter}7")]))["lots[0].ref"]


# --- refusals by path -------------------------------------------------------------------------

LOTS_AND_COMMISSIONS = [
    (plan(halfstuff_snapshot=2), "halfstuff_snapshot", "must be 1"),
    (plan(today="1 March"), "today", "must be a date such as 2027-03-01"),
    (plan(today="2027-02-30"), "today", "must be a date"),
    (plan(today=None), "today", "must be a date"),
    (plan(currency=""), "currency", "must be text of 1 to 200"),
    (plan(currency="a\nb"), "currency", "must be text"),
    (plan(aims="best"), "aims", "must be one of recipe first, cost first, got 'best'"),
    (plan(aims=["recipe first"]), "aims", "must be one of"),
    (plan(aims={}), "aims", "must be one of"),
    (plan(sourcing=[]), "sourcing", "must be an object"),
    (plan(yields=[1]), "yields", "must be an object"),
    (plan(yields={"linter": "0"}), "yields.linter", "must be above 0"),
    (plan(yields={"linter": "1.5"}), "yields.linter", "must be a share"),
    (plan(yields={"": "0.9"}), "yields", "must be text of 1 to 200"),
    (plan(yields={"lin\nter": "0.9"}), "yields", "must be text"),
    (plan(yields={"l" * 201: "0.9"}), "yields", "must be text"),
    (plan(yield_spread={"lin\x1b[2Jter": "0.01"}), "yield_spread", "must be text"),
    (plan(surprise=1), "surprise", "is not a key of the schema"),
    ({**plan(), "lots": None}, "lots", "must be a list, got None"),
    ({**plan(), "commissions": {}}, "commissions", "must be a list"),
    (plan(["L1"]), "lots[0]", "must be an object"),
    (plan([lot(colour="red")]), "lots[0].colour", "is not a key of the schema"),
    (plan([lot(ref="")]), "lots[0].ref", "must be text"),
    (plan([lot(ref=5)]), "lots[0].ref", "must be text"),
    (plan([lot(ref="x" * 201)]), "lots[0].ref", "must be text"),
    (plan([lot(), lot()]), "lots[1].ref", "“L1” is given twice"),
    (plan([lot(usable=-1)]), "lots[0].usable_mg", "must be a whole number of milligrams from 0"),
    (plan([lot(usable=1.5)]), "lots[0].usable_mg", "must be a whole number"),
    (plan([lot(usable=True)]), "lots[0].usable_mg", "must be a whole number"),
    (plan([lot(usable="1")]), "lots[0].usable_mg", "must be a whole number"),
    (plan([lot(usable=10**16)]), "lots[0].usable_mg", "must be a whole number"),
    (plan([lot(oven_dry_mg=-5)]), "lots[0].oven_dry_mg", "must be a whole number"),
    (plan([lot(as_is_mg=None)]), "lots[0].as_is_mg", "must be a whole number"),
    (plan([lot(cost_minor_per_kg=-1)]), "lots[0].cost_minor_per_kg", "of minor units"),
    (plan([lot(cost_minor_per_kg=10**12 + 1)]), "lots[0].cost_minor_per_kg", "of minor units"),
    (plan([lot(until="soon")]), "lots[0].until", "must be a date"),
    (plan([lot(**{"from": 20270301})]), "lots[0].from", "must be a date"),
    (plan([lot(marks="scrap")]), "lots[0].marks", "must be a list"),
    (plan([lot(marks=[1])]), "lots[0].marks[0]", "must be text"),
    (plan([], [promise(), promise()]), "commissions[1].ref", "is given twice"),
    (plan([], [promise(wanted=0)]), "commissions[0].wanted", "from 1 to"),
    (plan([], [promise(priority=-1)]), "commissions[0].priority", "from 0 to"),
    (plan([], [promise(pull_mg=0)]), "commissions[0].pull_mg", "from 1 to"),
    (plan([], [promise(sheets_per_pull=0)]), "commissions[0].sheets_per_pull", "from 1 to"),
    (plan([], [promise(good_share="0")]), "commissions[0].good_share", "must be above 0"),
    (plan([], [promise(good_share=0.5)]), "commissions[0].good_share", "must be a share as text"),
    (plan([], [promise(good_share="NaN")]), "commissions[0].good_share", "must be a share"),
    (plan([], [promise(good_share="half")]), "commissions[0].good_share", "must be a share"),
    (plan([], [promise(good_share="0" * 31)]), "commissions[0].good_share", "must be a share"),
    (
        plan([], [promise(safe_need_mg=999)]),
        "commissions[0].safe_need_mg",
        "1000 or more, got 999",
    ),
    (plan([], [promise(only_lots="L1")]), "commissions[0].only_lots", "must be a list"),
    (plan([], [promise(all_or_nothing=1)]), "commissions[0].all_or_nothing", "true or false"),
    (plan([], [promise(furnish=[])]), "commissions[0].furnish", "at least one fibre"),
    (plan([], [promise(furnish="linter")]), "commissions[0].furnish", "must be a list"),
    (
        plan([], [promise(furnish=[share("linter", "0.6")])]),
        "commissions[0].furnish",
        "shares cannot add up to 1: the least come to 0.6 and the most to 0.6",
    ),
    (
        plan([], [promise(furnish=[part(target="0.9", least="0"), share("abaca", "0.2")])]),
        "commissions[0].furnish",
        "the targets must add up to 1, got 1.1",
    ),
    (
        plan([], [promise(furnish=[part(least="0.5", target="0.2", most="1")])]),
        "commissions[0].furnish[0].target",
        "must lie between least 0.5 and most 1, got 0.2",
    ),
    (
        plan([], [promise(furnish=[{"fibres": [], "least": "1", "target": "1", "most": "1"}])]),
        "commissions[0].furnish[0].fibres",
        "at least one fibre",
    ),
    (
        plan([], [promise(furnish=[{"least": "1", "target": "1", "most": "1"}])]),
        "commissions[0].furnish[0].fibres",
        "must be a list, got nothing",
    ),
    (plan(question={**QUESTION, "due": ""}), "question.due", "must be a date"),
    (plan(question={**QUESTION, "wanted": 1}), "question.wanted", "is not a key"),
]


@pytest.mark.parametrize(("given", "path", "sentence"), LOTS_AND_COMMISSIONS)
def test_a_fault_is_told_with_its_path(given, path, sentence):
    assert sentence in faults(given)[path]


@pytest.mark.parametrize("key", ["ref", "fibre", "usable_mg", "from"])
def test_what_a_lot_lacks_is_told(key):
    row = lot()
    del row[key]
    assert faults(plan([row])) == {f"lots[0].{key}": "is missing."}


@pytest.mark.parametrize("key", ["ref", "due", "wanted", "need_mg", "pull_mg", "furnish"])
def test_what_a_commission_lacks_is_told(key):
    row = promise()
    del row[key]
    assert faults(plan([], [row])) == {f"commissions[0].{key}": "is missing."}


@pytest.mark.parametrize("key", ["lots", "commissions"])
def test_a_missing_list_is_told(key):
    given = plan()
    del given[key]
    assert faults(given) == {key: "must be a list, got nothing."}


def test_all_faults_are_told_at_once():
    given = plan([lot(usable=-1, ref="")], [promise(wanted=0)], today="never")
    assert set(faults(given)) == {
        "today", "lots[0].usable_mg", "lots[0].ref", "commissions[0].wanted",
    }  # fmt: skip


def test_a_long_value_is_cut_in_the_sentence():
    said = faults(plan(today="x" * 500))["today"]
    assert len(said) < 150


@pytest.mark.parametrize(
    "learned", [["45"], ["45", "five"], ["0", "5"], [45, 5], "45:5", ["NaN", "5"], ["9" * 41, "5"]]
)
def test_learned_share_that_is_no_beta_is_named_by_its_path(learned):
    with pytest.raises(SnapshotError, match=r"commissions\[0\]\.learned: must be two numbers"):
        from_json(plan(commissions=[promise(learned=learned)]))


def test_learned_share_is_read_as_it_is_written():
    (found,) = from_json(plan(commissions=[promise(learned=["45", "5"])])).commissions
    assert found.learned == (45, 5)
