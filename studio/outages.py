"""What a person is told when the database cannot take an entry, or cannot be read at all.

One place knows what a database says of a full disk, a folder that cannot be written to, a lock and
a server that is away. Pages that hold a form show its sentence above the form, with all that was
typed; whatever reaches no page of its own is answered from here, and can be sent once more.
"""

from __future__ import annotations

import errno
from collections.abc import Iterator
from dataclasses import dataclass

from django.conf import settings
from django.db import DatabaseError, InterfaceError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import CsrfViewMiddleware, get_token
from django.template.loader import render_to_string

from studio import api

BUSY, FULL, READ_ONLY, AWAY = "busy", "full", "read only", "away"
FAULTS = (OperationalError, InterfaceError)
# What SQLite and PostgreSQL say, in small letters.
_SAID = {
    FULL: ("disk is full", "no space left", "could not extend", "disk full"),
    READ_ONLY: ("readonly", "read-only", "read only"),
    AWAY: (
        "unable to open", "disk i/o", "connection", "server closed", "starting up",
        "shutting down", "malformed", "not a database",
    ),
}  # fmt: skip
# What SQLite calls it where the disk has no room even for the memory that write-ahead mode shares:
# its words are those of a broken disk.
_NO_ROOM = "SQLITE_IOERR_SHMSIZE"
_STATUS = {FULL: 507}
MOST_FIELDS = 1000
KEY = "request_key"
NOT_SENT_AGAIN = {"csrfmiddlewaretoken"}


@dataclass(frozen=True, slots=True)
class Outage:
    """Why an entry was not taken, and what to do about it."""

    kind: str
    why: str
    do: str

    @property
    def status(self) -> int:
        """The answer's number: no room, or not just now."""
        return _STATUS.get(self.kind, 503)


_OUTAGES = {
    BUSY: Outage(
        BUSY,
        "the database could not take the entry just now",
        "Enter it once more in a moment.",
    ),
    FULL: Outage(
        FULL,
        "the disk of the studio’s machine is full",
        "Nothing that was saved before is lost, and it can be read. Make room on that disk, then "
        "enter it once more.",
    ),
    READ_ONLY: Outage(
        READ_ONLY,
        "the studio’s folder on its machine cannot be written to",
        "Nothing that was saved before is lost. On that machine “manage.py check” names the "
        "folder; once it can be written to, enter it once more.",
    ),
    AWAY: Outage(
        AWAY,
        "the studio’s database cannot be reached",
        "On its machine “manage.py check --database default” says why. Once it is there again, "
        "go on where you were.",
    ),
}

_NOT_READ = Outage(BUSY, "the database is busy", "Open it once more in a moment.")


def outage_of(fault: BaseException) -> Outage:
    """Return what a fault of the database means for a person.

    >>> outage_of(OperationalError("database or disk is full")).status
    507
    """
    if getattr(fault.__cause__, "sqlite_errorname", "") == _NO_ROOM:
        return _OUTAGES[FULL]
    said = str(fault).casefold()
    for kind, words in _SAID.items():
        if any(word in said for word in words):
            return _OUTAGES[kind]
    return _OUTAGES[BUSY]


def sentence(fault: BaseException, busy: str, *, below: bool = False) -> str:
    """Word why something was not done, where a page words a busy database itself.

    What that sentence begins with, up to its colon, begins the others too; ``below`` says that
    the form holds what was typed.
    """
    outage = outage_of(fault)
    if outage.kind == BUSY:
        return busy
    kept = " What you typed is below." if below else ""
    return f"{busy.partition(':')[0]}: {outage.why}.{kept} {outage.do}"


def in_one_line(fault: BaseException) -> str:
    """Return what a database said: of PostgreSQL, which goes on to guess, the first line."""
    said = str(fault).strip().splitlines() or [type(fault).__name__]
    return said[0].strip().removesuffix(".")


def is_outage(fault: BaseException | None) -> bool:
    """Tell whether a fault is of the database's surroundings, not of the program."""
    if isinstance(fault, OSError):
        # Files that are handed in lie on the same disk as the database.
        return fault.errno in {errno.ENOSPC, errno.EDQUOT, errno.EROFS}
    if not isinstance(fault, DatabaseError | InterfaceError):
        return False
    said = str(fault).casefold()
    if any(word in said for word in ("no such table", "no such column", "no such function")):
        return False
    told = (*_SAID[READ_ONLY], "malformed", "not a database")
    return isinstance(fault, FAULTS) or any(word in said for word in told)


def answer(request: HttpRequest, fault: BaseException) -> HttpResponse:
    """Answer a request that reached no page of its own; it can be sent once more as it was."""
    outage = outage_of(fault)
    is_sent = request.method == "POST"
    if outage.kind == BUSY and not is_sent:
        outage = _NOT_READ
    if api.is_api(request):
        return api.refusal(f"No answer now: {outage.why}. Ask again later.", status=503)
    shown, hidden, left_out = [], [], []
    for name, value in _sent(request) if is_sent else ():
        if is_secret(name):
            left_out.append(name)
            continue
        hidden.append((name, value))
        if value and not name.endswith("_key"):
            shown.append((name.replace("_", " ").replace("-", " "), value))
    has_files = is_sent and bool(request.FILES)
    can_repeat = not (left_out or has_files) and _is_own(request)
    context = {
        "outage": outage,
        "is_sent": is_sent,
        "address": request.get_full_path(),
        "hidden": hidden if can_repeat else (),
        # A server that went away may have saved it and lost the answer; the key counts it once.
        "counts_once": outage.kind == AWAY and any(name == KEY for name, _ in hidden),
        "shown": shown,
        "has_files": has_files,
        "left_out": left_out,
        "token": get_token(request) if can_repeat else "",
    }
    return HttpResponse(render_to_string("503.html", context), status=outage.status)


def is_secret(name: str) -> bool:
    """Tell whether a field is never shown again: nobody is to read it over a shoulder."""
    asked_for = {*settings.AXES_SENSITIVE_PARAMETERS} - {"username", "ip_address"}
    return name in asked_for or "password" in name.casefold()


def _is_own(request: HttpRequest) -> bool:
    """Tell whether a page of this site sent it; the fault may have come before that was asked.

    Without the cookie of the first sending a second one would be refused.
    """
    door = CsrfViewMiddleware(lambda _: HttpResponse())
    refused = door.process_view(request, lambda _: HttpResponse(), (), {})
    return refused is None and "CSRF_COOKIE" in request.META


def _sent(request: HttpRequest) -> Iterator[tuple[str, str]]:
    pairs = ((name, value) for name, values in request.POST.lists() for value in values)
    for number, (name, value) in enumerate(pairs):
        if number < MOST_FIELDS and name not in NOT_SENT_AGAIN:
            yield name, value
