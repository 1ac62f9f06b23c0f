"""A supply pack has a smallest and a largest mass, in an offer and in a line of an order."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError

from studio.models import LARGEST
from tests.builders import make_offer, make_purchase

pytestmark = pytest.mark.django_db


def line_and_offer():
    offer = make_offer()
    return [offer, make_purchase(offer).lines.get()]


@pytest.mark.parametrize("pack_mg", [0, LARGEST + 1])
def test_pack_outside_its_limits_is_refused(pack_mg):
    for row in line_and_offer():
        row.pack_mg = pack_mg
        with pytest.raises(ValidationError) as refused:
            row.clean_fields()
        assert list(refused.value.message_dict) == ["pack_mg"]


@pytest.mark.parametrize("pack_mg", [1, LARGEST])
def test_pack_at_its_limits_is_kept(pack_mg):
    for row in line_and_offer():
        row.pack_mg = pack_mg
        row.clean_fields()
