"""Signs that cannot be seen: they steer the terminal, or turn round the words beside them."""

from __future__ import annotations

import unicodedata

# Embeddings, overrides and isolates (Unicode Standard Annex 9, section 2).
TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
LINES = frozenset("\n\r\t")


def holds_unseen(text: str, *, lines: bool = False) -> bool:
    r"""Tell whether text holds such a sign; ``lines`` lets it be of several lines.

    >>> holds_unseen("Quay Print Room"), holds_unseen("a\x1b[31m"), holds_unseen("a\u202eb")
    (False, True, True)
    >>> holds_unseen("two\nlines"), holds_unseen("two\nlines", lines=True)
    (True, False)
    """
    kept = LINES if lines else frozenset()
    return any(
        sign in TURNING or (unicodedata.category(sign) == "Cc" and sign not in kept)
        for sign in text
    )
