"""A browser without a window: real HTTP, its cookies, and what came of everything it asked."""

from __future__ import annotations

import http.client
import time
import uuid
from collections import Counter
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from urllib.parse import urlencode

from tests.fibres.pages import typed
from tests.studio.pages import Page

# Longer than anybody waits: on a machine with other work to do, slow is not wrong.
PATIENCE_SECONDS = 180


@dataclass
class Told:
    """How long each page took, what was taken on, and what went wrong."""

    seconds: list[tuple[str, float]] = field(default_factory=list)
    keys: set[str] = field(default_factory=set)
    pulls: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Answer:
    """What came back: its number, where it leads, and its text."""

    status: int
    leads: str
    html: str


class Browser:
    """Whoever asks; the port may be changed, as where another worker answers."""

    def __init__(self, port: int) -> None:
        self.port = port
        self.cookies: dict[str, str] = {}
        self.told = Told()

    def get(self, page: str, address: str, headers: Mapping[str, str] | None = None) -> str:
        """Return a page that must be there."""
        return self.ask(page, "GET", address, None, headers).html

    def fill_in(self, page: str, address: str, changes: Mapping[str, str], file: str = "") -> str:
        """Open a form, send it, and go where it leads; what is taken on has its key noted."""
        sent = {**typed(Page(self.get(f"{page}: form", address))), **changes}
        leads = self.ask(f"{page}: send", "POST", address, sent, wanted=302, file=file).leads
        if leads and "request_key" in sent:
            self.told.keys.add(sent["request_key"])
        if leads:
            self.get(f"{page}: then", leads)
        return leads

    def ask(
        self,
        page: str,
        method: str,
        address: str,
        sent: Mapping[str, str] | None,
        headers: Mapping[str, str] | None = None,
        *,
        wanted: int = 200,
        file: str = "",
    ) -> Answer:
        """Ask once, and note how long it took; what was not wanted is a fault."""
        begun = time.monotonic()
        try:
            answer = self._exchange(method, address, _body(sent, file), headers or {})
        except (OSError, http.client.HTTPException) as fault:
            self.told.faults.append(f"{page}: {fault!r}")
            return Answer(0, "", "")
        self.told.seconds.append((page, time.monotonic() - begun))
        if answer.status != wanted:
            alert = " ".join(answer.html.partition('role="alert"')[2][:300].split())
            self.told.faults.append(f"{page} {address}: {answer.status} {alert}")
            return Answer(answer.status, "", answer.html)
        return answer

    def _exchange(
        self, method: str, address: str, body: tuple[str, bytes] | None, more: Mapping[str, str]
    ) -> Answer:
        # A new connection each time, so that any worker may be the next to answer.
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_SECONDS)
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        headers = {"Cookie": cookies, **({"Content-Type": body[0]} if body else {}), **more}
        with closing(line):
            line.request(method, address, body[1] if body else None, headers)
            found = line.getresponse()
            html = found.read().decode()
        for told in found.headers.get_all("Set-Cookie", []):
            self.cookies |= {name: one.value for name, one in SimpleCookie(told).items()}
        return Answer(found.status, found.headers.get("Location", ""), html)


def _body(sent: Mapping[str, str] | None, file: str) -> tuple[str, bytes] | None:
    """Return a form as it goes over the wire, with its kind; with a list where one is sent."""
    if sent is None:
        return None
    if not file:
        return "application/x-www-form-urlencoded", urlencode(sent).encode()
    mark = uuid.uuid4().hex
    parts = [f'name="{name}"\r\n\r\n{value}' for name, value in sent.items() if name != "file"]
    parts.append(f'name="file"; filename="list.csv"\r\nContent-Type: text/csv\r\n\r\n{file}')
    body = "".join(f"--{mark}\r\nContent-Disposition: form-data; {part}\r\n" for part in parts)
    return f"multipart/form-data; boundary={mark}", f"{body}--{mark}--\r\n".encode()
