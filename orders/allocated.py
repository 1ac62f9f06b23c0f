"""Cover, worked out once for what has not changed.

Cover follows from the snapshot alone, so an answer holds for as long as the snapshot is equal to
the one it was made from: nothing has to be told that something changed. A large studio spends
seconds in the solver and milliseconds in the comparison. Each process keeps a few answers.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from threading import Lock

from orders.calc.cover import Cover, allocate
from orders.calc.planrows import Snapshot

# Today and Store ask the same; a making day asks with and without itself.
MOST_KEPT = 3

_kept: deque[tuple[Snapshot, Cover]] = deque(maxlen=MOST_KEPT)
_door = Lock()


def allocated(snapshot: Snapshot) -> Cover:
    """Return the cover of a snapshot, as :func:`orders.calc.cover.allocate` answers."""
    # What can be bought has no say in what the store covers.
    asked = replace(snapshot, sourcing=None)
    with _door:
        known = tuple(_kept)
    for made_from, answer in known:
        if made_from == asked:
            return answer
    answer = allocate(asked)
    with _door:
        # Two that ask the same at once both work it out; it takes the room of one.
        if all(made_from != asked for made_from, _ in _kept):
            _kept.append((asked, answer))
    return answer
