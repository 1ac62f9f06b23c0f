"""Which answers of a cover were asked for, and their JSON; command and other programs share it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from orders.calc.cover import Answer, Cover
from studio import refs
from studio.errors import StudioError


class UnknownRefError(StudioError):
    """No open commission is called so."""


class NotReckonedError(StudioError):
    """The commission cannot be reckoned, and the sentence says why."""


def answers_to(cover: Cover, ref: str | None, *, made: Collection[str]) -> list[Answer]:
    """Return every answer, or the one for a commission; none where all of it is made already."""
    if ref is None:
        return list(cover.commissions)
    reasons = dict(cover.left_out)
    known = [answer.ref for answer in cover.commissions]
    ref = refs.same_in([*known, *reasons, *made], ref)
    found = cover.of(ref)
    if found is not None:
        return [found]
    if ref in reasons:
        raise NotReckonedError(f"{ref} cannot be reckoned: {reasons[ref]}")
    if ref in made:
        return []
    raise UnknownRefError(refs.not_called("open commission", ref, known, there_are="Promised"))


def as_json(cover: Cover, asked: Iterable[Answer]) -> dict[str, Any]:
    """Return the cover as plain values, with the answers that were asked for."""
    wanted = {answer.ref for answer in asked}
    plain = cover.as_json()
    plain["commissions"] = [row for row in plain["commissions"] if row["ref"] in wanted]
    return plain
