"""Makings that were run from start to finish, as tests of provenance need them."""

from decimal import Decimal

from orders.makings import finish, log
from tests.builders import KG, day, make_fibre, make_lot, make_making, make_sheet, make_source


def donor(name, **changes):
    return make_source(name=name, kind="donor", **changes)


def office(**changes):
    return make_fibre(
        **{
            "name": "White office paper",
            "code": "SC",
            "family": "waste paper",
            "source_class": "post-consumer",
            "preparation_yield": Decimal("0.80"),
            "is_scrap": True,
            **changes,
        }
    )


def own_broke(**changes):
    return make_fibre(
        **{
            "name": "Own broke",
            "code": "BR",
            "family": "broke",
            "source_class": "in-house",
            **changes,
        }
    )


def run(issues, *, making=None, good=100, retree=4, broke=None, heel=None, finished_on=None):
    """Run a making through: issues are (lot, as-is mg); broke and heel are (fibre, as-is mg)."""
    making = making or make_making(a5_notes())
    log.start(making, by=None)
    for lot, as_is_mg in issues:
        log.issue(making, lot, as_is_mg=as_is_mg, by=None)
    for what, number in (("good", good), ("retree", retree)):
        if number:
            log.tap(making, what, post=1, change=number, by=None)
    if broke:
        fibre, as_is_mg = broke
        log.note_broke(making, as_is_mg=as_is_mg, moisture=Decimal("0.8"), fibre=fibre, by=None)
    kept = dict(zip(("fibre", "as_is_mg"), heel, strict=True)) if heel else {}
    log.note_heel(
        making,
        "kept" if heel else "none",
        moisture=Decimal("0.85") if heel else None,
        by=None,
        **kept,
    )
    return finish.finish(making, finished_on=finished_on or day(), accept_over=True, by=None)


def a5_notes():
    return make_sheet(width_um=148_000, height_um=210_000)


def school_and_linter():
    """Return a lot of a school that may be named and one of bought linter."""
    school = donor("Nettlebank School", may_be_named=True)
    paper = make_lot(office(), school, as_is_mg=12 * KG, moisture="0.05")
    linter = make_lot(
        make_fibre(name="Linter", code="LI", preparation_yield=Decimal("0.98")),
        as_is_mg=3 * KG,
    )
    return paper, linter
