"""The whole studio as a file, for tests: written, kept, changed; and a database emptied for it."""

import hashlib
import io
import json
import zipfile

from django.core.management import call_command

from studio import appendonly
from studio.files.whole import MANIFEST, write_studio
from studio.roles import OWNER
from tests.builders import make_user
from tests.roles.samples import address, routes

_kept: list[bytes] = []


def kept() -> bytes:
    """Return the file of a studio with rows in every table, made once; the database is empty."""
    if not _kept:
        make_user(OWNER, name="ida")
        for name, pattern in routes().items():
            address(name, pattern)
        _kept.append(written())
    flush()
    return _kept[0]


def written() -> bytes:
    file = io.BytesIO()
    write_studio(file)
    return file.getvalue()


def flush() -> None:
    """Take every row away, as a new database has none; what guards tables is off meanwhile."""
    appendonly.remove()
    try:
        call_command("flush", interactive=False, verbosity=0)
    finally:
        appendonly.install()


def changed(content: bytes, change) -> bytes:
    """Return a file whose parts were changed."""
    parts = {}
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        for name in packed.namelist():
            parts[name] = packed.read(name)
    change(parts)
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, part in parts.items():
            packed.writestr(name, part)
    return file.getvalue()


def resigned(parts) -> None:
    """Put marks and sizes of parts right, as somebody would who changed them on purpose."""
    told = json.loads(parts[MANIFEST])
    for name, mark in told["files"].items():
        if name in parts:
            mark |= {"sha256": hashlib.sha256(parts[name]).hexdigest(), "bytes": len(parts[name])}
    parts[MANIFEST] = json.dumps(told).encode()
