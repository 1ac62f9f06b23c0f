"""The signing key: from the environment, or from a key file only its owner can read."""

from __future__ import annotations

import os
import secrets
import time
from pathlib import Path

LEAST_LENGTH = 50
LEAST_KINDS = 5
TRIES, BETWEEN_TRIES_SECONDS = 25, 0.02


def signing_key(given: str, folder: Path) -> str:
    """Return the key to sign sessions with; make the key file on first run.

    A key that is short, of few different characters, or marked as insecure stops the program.
    """
    key = given or _kept_key(folder / "secret_key")
    if len(key) < LEAST_LENGTH or len(set(key)) < LEAST_KINDS or "insecure" in key.lower():
        where = "HALFSTUFF_SECRET_KEY" if given else str(folder / "secret_key")
        message = (
            f"The signing key in {where} is too easy to guess. Give at least {LEAST_LENGTH} "
            "random characters, or remove it and a new key file is made."
        )
        raise SystemExit(message)
    return key


def _kept_key(path: Path) -> str:
    """Read the key file, or write a new one that no other account can read."""
    try:
        return _read_whole(path)
    except FileNotFoundError:
        pass
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # O_EXCL: of two first runs at once, one writes and the other reads what it wrote.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read_whole(path)
    except OSError as fault:
        message = (
            f"The key file {path} cannot be made: {fault.strerror}. Give this account the right "
            "to write there, or set HALFSTUFF_DATA to another folder."
        )
        raise SystemExit(message) from None
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(secrets.token_urlsafe(64))
    return path.read_text(encoding="ascii").strip()


def _read_whole(path: Path) -> str:
    """Read the key; several workers that start at once may find it made and not yet written."""
    for _ in range(TRIES):
        key = path.read_text(encoding="ascii").strip()
        if key:
            return key
        time.sleep(BETWEEN_TRIES_SECONDS)
    return ""
