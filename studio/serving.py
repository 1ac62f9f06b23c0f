"""The small web server of a studio: one process, on this machine unless told otherwise."""

from __future__ import annotations

import errno
import socket
from collections.abc import Callable
from ipaddress import ip_address
from typing import Any

from django.core.management import call_command
from waitress.server import create_server

from studio.errors import StudioError

LOOPBACK = "127.0.0.1"
USUAL_PORT = 8000
LAST_PORT = 65535
THREADS = 8
LARGEST_BODY = 10 * 1024 * 1024
IN_THE_CLEAR = (
    "Passwords that other machines send here cross the network unciphered. Put an HTTPS server in "
    "front, and set HALFSTUFF_HTTPS=1."
)


def read_port(given: str | int) -> int:
    """Read a port as it was typed; 0 lets the machine choose a free one."""
    text = str(given)
    if text.isascii() and text.isdigit() and len(text) <= 5 and int(text) <= LAST_PORT:
        return int(text)
    raise StudioError(
        f"Give a port from 1 to {LAST_PORT}, such as {USUAL_PORT}, got {text[:40]!r}.",
        field="port",
        value=text[:40],
    )


def listen(given: str | int, *, host: str = LOOPBACK) -> socket.socket:
    """Take the port before anything else is done, so that two servers never share one."""
    port = read_port(given)
    try:
        family, kind, proto, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except (socket.gaierror, UnicodeError):
        raise StudioError(
            f"This machine knows no address {host[:60]!r}. Give one such as {LOOPBACK}.",
            field="host",
            value=host,
        ) from None
    taken = socket.socket(family, kind, proto)
    try:
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        taken.bind(address)
        taken.listen()
    except OSError as fault:
        taken.close()
        raise StudioError(_why_not(fault, host, port), field="port", value=port) from None
    return taken


def _why_not(fault: OSError, host: str, port: int) -> str:
    if fault.errno == errno.EADDRINUSE:
        return f"Port {port} is in use. Stop what uses it, or give another: --port {_next(port)}."
    if fault.errno == errno.EACCES:
        return f"Port {port} is kept for the system. Give one from 1024 up, such as {USUAL_PORT}."
    return f"Cannot serve on {host} at port {port}: {fault.strerror}."


def _next(port: int) -> int:
    return port + 1 if port < LAST_PORT else USUAL_PORT


def address_of(taken: socket.socket) -> str:
    """Return what to type into a browser on this machine."""
    host, port = taken.getsockname()[:2]
    name = f"[{host}]" if ":" in host else host
    return f"http://{name}:{port}/"


def is_here(taken: socket.socket) -> bool:
    """Tell whether this machine alone can ask at a port taken by :func:`listen`."""
    address = ip_address(taken.getsockname()[0].partition("%")[0])
    return (getattr(address, "ipv4_mapped", None) or address).is_loopback


def migrate() -> None:
    """Bring the database up to this release, quietly."""
    call_command("migrate", verbosity=0, interactive=False)


def serve(taken: socket.socket, *, say: Callable[[str], Any]) -> None:
    """Serve pages on a port taken by :func:`listen` until the program is stopped."""
    from studio.wsgi import application

    server = create_server(
        application,
        sockets=[taken],
        threads=THREADS,
        ident="",
        max_request_body_size=LARGEST_BODY,
        # Left in place, so that the demo sees a caller who comes through another server.
        clear_untrusted_proxy_headers=False,
    )
    say(f"Open {address_of(taken)} in a browser. Ctrl-C stops it.")
    try:
        server.run()
    finally:
        server.close()
