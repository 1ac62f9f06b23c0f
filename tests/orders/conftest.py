"""Rows that the pages of orders are shown with, and a studio in a file of its own."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from orders import quoting, reordering
from tests.builders import (
    KG,
    make_commission,
    make_fibre,
    make_furnish,
    make_offer,
    make_sheet,
    make_source,
)
from tests.orders.copying import make_base, settle
from tests.orders.quotings import drafted, plain_studio
from tests.orders.reorders import Planner, line, order, reorder
from tests.orders.wholes import kept


@pytest.fixture
def fibre(db):
    return make_fibre(name="Abaca sheet pulp", cautions="Dust when it is torn dry.")


@pytest.fixture
def sheet(fibre):
    return make_sheet(make_furnish({fibre: "1"}), name="Text A4")


@pytest.fixture
def asked(sheet):
    return make_commission(sheet, ref="C-101", title="Song sheets")


@pytest.fixture
def studio(db):
    """Return a studio whose prices can be reckoned in the head."""
    return plain_studio()


@pytest.fixture
def draft(asked):
    """Return a draft for the commission that a module asks for, which has to be an enquiry."""
    return drafted(asked)


@pytest.fixture
def issued(draft):
    return quoting.issue(draft, by=None)


@pytest.fixture
def offer(db):
    """Return 1 kg packs of abaca for 15.40 from a source that takes 9 days and 7.50 freight."""
    source = make_source(name="Oastler Pulp Supply", lead_days=9, freight_minor=750)
    return make_offer(
        make_fibre(name="Abaca", preparation_yield="0.88"),
        source,
        form="sheets",
        pack_mg=KG,
        moisture="0.09",
        minor_per_kg=1540,
    )


@pytest.fixture
def planner(monkeypatch, offer):
    """Put a planner in place of the arithmetic: two packs of the offer, proven cheapest."""
    planner = Planner(reorder(order(line(offer=f"O-{offer.pk}"))))
    monkeypatch.setattr(reordering, "buying", planner)
    return planner


@pytest.fixture(scope="module")
def base(tmp_path_factory) -> Path:
    return make_base(tmp_path_factory.mktemp("studio"))


@pytest.fixture
def live(base, tmp_path, monkeypatch, settings, django_db_blocker) -> Iterator[Path]:
    settings.DATA_DIR = tmp_path
    # Copies are opened beside the database of the tests, which is not touched.
    with django_db_blocker.unblock():
        yield settle(monkeypatch, base, tmp_path)


@pytest.fixture
def kept_file(transactional_db: None) -> bytes:
    """Return the file of a whole studio, with nothing in the database."""
    return kept()
