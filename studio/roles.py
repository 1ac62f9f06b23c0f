"""Who may do what: three roles, and one table of needs that pages and templates both ask.

A view says what it needs with :func:`needs`; a view that says nothing is refused by the gate
and reported when the program starts.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

OWNER, HAND, VIEWER = "owner", "hand", "viewer"
ROLES = (OWNER, HAND, VIEWER)
PUBLIC = "public"

NEEDS: dict[str, frozenset[str]] = {
    "read": frozenset(ROLES),
    "store.receive": frozenset({OWNER, HAND}),
    "store.take": frozenset({OWNER, HAND}),
    "store.count": frozenset({OWNER, HAND}),
    "store.correct": frozenset({OWNER}),
    "fibres.change": frozenset({OWNER}),
    "sources.change": frozenset({OWNER}),
    "purchases.change": frozenset({OWNER}),
    "furnishes.change": frozenset({OWNER}),
    "sheets.change": frozenset({OWNER}),
    "orders.change": frozenset({OWNER}),
    "makings.change": frozenset({OWNER, HAND}),
    "clients.see": frozenset({OWNER, HAND}),
    "clients.contact": frozenset({OWNER}),
    "money": frozenset({OWNER}),
    "entries.own": frozenset({OWNER, HAND}),
    "entries.all": frozenset({OWNER}),
    "export": frozenset({OWNER, HAND}),
    "export.stock": frozenset(ROLES),
    "studio.change": frozenset({OWNER}),
}

# What each need lets a person do, as the page of people words it; a test holds the two together.
MAY: dict[str, str] = {
    "read": "See store, furnishes, sheets, commissions and makings",
    "store.receive": "Receive lots and log scrap",
    "store.take": "Take out of the store and send sheets",
    "store.count": "Count the store",
    "store.correct": "Put the store right where it was entered wrong",
    "fibres.change": "Change fibres",
    "sources.change": "Change sources",
    "purchases.change": "Plan and change purchases",
    "furnishes.change": "Change furnishes",
    "sheets.change": "Change sheets",
    "orders.change": "Change clients, commissions and quotes",
    "makings.change": "Plan makings and log them at the vat",
    "clients.see": "See who the clients are",
    "clients.contact": "See how clients are reached",
    "money": "See costs, prices, quotes and what the store is worth",
    "entries.own": "See when and where they entered what",
    "entries.all": "See who entered what, whoever it was",
    "export": "Take every list along as a file",
    "export.stock": "Take the list of lots along as a file",
    "studio.change": "Change the studio, its moulds, vats, dryers and people; bring in data",
}

View = TypeVar("View", bound=Callable[..., Any] | type)


def needs(need: str) -> Callable[[View], View]:
    """Mark a view, function or class, with the one thing a person must be allowed to do."""
    if need != PUBLIC and need not in NEEDS:
        message = f"No such need: {need!r}. Add it to studio.roles.NEEDS."
        raise ValueError(message)

    def mark(view: View) -> View:
        view.needs = need  # type: ignore[union-attr]
        return view

    return mark


def need_of(view: Callable[..., Any]) -> str:
    """Return what a resolved view needs, or nothing where none was declared."""
    declared = getattr(view, "needs", "") or getattr(
        getattr(view, "view_class", None), "needs", ""
    )
    return str(declared)


def role_of(user: Any) -> str:
    """Return the role of a person, or nothing; asked of the database once a request."""
    if not getattr(user, "is_authenticated", False):
        return ""
    known = getattr(user, "_role", None)
    if known is None:
        names = {group.name for group in user.groups.all()}
        known = next((role for role in ROLES if role in names), "")
        known = OWNER if user.is_superuser else known
        user._role = known
    return str(known)


def can(user: Any, need: str) -> bool:
    """Tell whether a person may do what the need names."""
    return need == PUBLIC or role_of(user) in NEEDS[need]
