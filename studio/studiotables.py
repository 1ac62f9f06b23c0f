"""Tables of the studio's own pages."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.auth.models import AbstractUser
from django.urls import reverse

from studio.models import AccessToken, Mould, Vat
from studio.roles import HAND, MAY, NEEDS, OWNER, ROLES, VIEWER, role_of
from studio.tables import DayColumn, LedgerTable, RowHeader, TextColumn
from studio.units import Q, show_length, show_size, show_volume


class MouldTable(LedgerTable):
    """Moulds by name, with their openings."""

    caption = "Moulds"
    caption_unseen = True
    shape = "few"
    nothing = "No mould has been entered yet."

    mould = RowHeader("Mould", accessor="name")
    opening = TextColumn("Opening", accessor="width_um")
    draw = TextColumn("Draw", accessor="draw_um")
    state = TextColumn("State", accessor="closed_on")

    def render_opening(self, record: Mould) -> str:
        """Word the opening in the studio's units."""
        return self.value_opening(record)

    def value_opening(self, record: Mould) -> str:
        """Word the opening the same in an export."""
        return show_size(record, system=self.units)

    def render_draw(self, value: int) -> str:
        """Word the draw in the studio's units."""
        return show_length(value, system=self.units)

    def render_state(self, value: Any) -> str:
        """Say that a mould is closed."""
        return "Closed" if value else ""


class VatTable(LedgerTable):
    """Vats by name, with what they hold."""

    caption = "Vats"
    caption_unseen = True
    shape = "few"
    nothing = "No vat has been entered yet."

    vat = RowHeader("Vat", accessor="name")
    inside = TextColumn("Inside", accessor="width_um")
    depth = TextColumn("Working depth", accessor="depth_um")
    holds = TextColumn("Holds", accessor="litres", orderable=False)
    state = TextColumn("State", accessor="closed_on")

    def render_inside(self, record: Vat) -> str:
        """Word the plan in the studio's units."""
        return show_size(record, system=self.units)

    def render_depth(self, value: int) -> str:
        """Word the depth in the studio's units."""
        return show_length(value, system=self.units)

    def render_holds(self, value: Any) -> str:
        """Word the volume in the studio's units."""
        return show_volume(Q(value, "L"), system=self.units)

    def render_state(self, value: Any) -> str:
        """Say that a vat is closed."""
        return "Closed" if value else ""


class PersonTable(LedgerTable):
    """Who may sign in, and as what."""

    caption = "People"
    caption_unseen = True
    shape = "few"
    nothing = "Nobody has an account yet."

    person = RowHeader(
        "Person",
        accessor="username",
        link=lambda person: reverse("person", args=[person.pk]),
    )
    role = TextColumn("Role", accessor="pk", orderable=False)
    state = TextColumn("State", accessor="is_active", orderable=False)

    def render_role(self, record: AbstractUser) -> str:
        """Word the role."""
        return role_of(record).capitalize() or "None"

    def render_state(self, value: bool) -> str:
        """Say that an account is closed."""
        return "" if value else "Closed"


def _closing(route: str) -> Callable[[AccessToken], str]:
    return lambda row: reverse(route, args=[row.pk])


class OwnTokenTable(LedgerTable):
    """Tokens that are open, by what they are for; each leads to where it is closed."""

    caption = "Tokens that are open"
    caption_unseen = True
    shape = "few"
    nothing = "No token is open."

    token = RowHeader("For", accessor="name", link=_closing("you_token_close"))
    made = DayColumn("Made", accessor="made_at")
    used = DayColumn("Last used", accessor="used_on", default="Never")


class TokenTable(OwnTokenTable):
    """Everybody's tokens that are open."""

    token = RowHeader("For", accessor="name", link=_closing("people_token_close"))
    person = TextColumn("Person", accessor="user__username")

    class Meta:
        sequence = ("token", "person", "...")


class MayTable(LedgerTable):
    """What each role may see and do, row by row as the gate asks it."""

    caption = "Who may see and do what"
    caption_unseen = True
    shape = "few"

    may = RowHeader("May", accessor="may", orderable=False)
    owner = TextColumn("Owner", accessor=OWNER, orderable=False)
    hand = TextColumn("Hand", accessor=HAND, orderable=False)
    viewer = TextColumn("Viewer", accessor=VIEWER, orderable=False)


def who_may() -> list[dict[str, str]]:
    """Return the table of needs in words: one row for each, yes or no for each role."""
    return [
        {"may": MAY[need], **{role: "Yes" if role in those else "No" for role in ROLES}}
        for need, those in NEEDS.items()
    ]
