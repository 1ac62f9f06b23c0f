"""Rows that the pages of orders are shown with."""

import pytest

from tests.builders import make_commission, make_fibre, make_furnish, make_sheet


@pytest.fixture
def fibre(db):
    return make_fibre(name="Abaca sheet pulp", cautions="Dust when it is torn dry.")


@pytest.fixture
def sheet(fibre):
    return make_sheet(make_furnish({fibre: "1"}), name="Text A4")


@pytest.fixture
def asked(sheet):
    return make_commission(sheet, ref="C-101", title="Song sheets")
