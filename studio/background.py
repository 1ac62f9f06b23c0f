"""Work that goes on after a page has answered, in a thread of its own."""

from __future__ import annotations

import threading
from collections.abc import Callable

from django.db import connection


def in_background(
    work: Callable[[], None], name: str = "look for a cheaper plan"
) -> threading.Thread:
    """Do something in a thread of its own, which gives its connection back when it is over."""

    def run() -> None:
        try:
            work()
        finally:
            connection.close()

    thread = threading.Thread(target=run, name=name, daemon=True)
    thread.start()
    return thread
