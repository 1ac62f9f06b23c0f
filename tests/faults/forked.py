"""A forked process that works until it is killed, and tells a pipe what it has done."""

from __future__ import annotations

import os
import select
import signal
from collections.abc import Callable
from typing import Any


class Forked:
    """Call ``act(*given, pipe)`` in a child; each line that it writes to the pipe is one deed."""

    def __init__(self, act: Callable[..., None], *given: Any) -> None:
        self.said = b""
        self.was_killed = False
        self.pipe, into = os.pipe()
        self.pid = os.fork()
        if self.pid == 0:
            done = 1
            try:
                act(*given, into)
                done = 0
            finally:
                os._exit(done)
        os.close(into)

    def await_first(self) -> None:
        self.said += os.read(self.pipe, 4096)
        assert self.said, "a child died before its first deed"

    def said_so_far(self) -> list[str]:
        while select.select([self.pipe], [], [], 0)[0]:
            more = os.read(self.pipe, 65536)
            if not more:
                break
            self.said += more
        return self.said.decode().rpartition("\n")[0].split()

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        self.was_killed = self.wait() == -signal.SIGKILL
        os.close(self.pipe)

    def wait(self) -> int:
        """Return how it ended: its code, or minus the signal."""
        _, status = os.waitpid(self.pid, 0)
        return os.waitstatus_to_exitcode(status)
