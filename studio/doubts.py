"""Forms that ask about what looks like a slip: it may be so, and a tick keeps it."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from typing import Any

from django import forms

IS_RIGHT = "It is right all the same: keep it"
IS_RIGHT_HINT = "Else put the figure right and enter it again."


class AskingMixin:
    """Stands before a form of the house; its ``doubts`` say what looks wrong.

    What is asked about is kept once the tick beside the question is sent with the same figures:
    a tick for one figure does not speak for the next.
    """

    # Whether nothing is wrong with the form but what was asked about.
    is_only_asked = False

    def doubts(self, given: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Give each field that looks wrong with what is asked about it."""
        yield from ()

    def ask(self, given: dict[str, Any]) -> None:
        """Ask about what looks wrong, where all can be read; called when all is checked."""
        form: Any = self
        if form.errors:
            return
        asked = {name: words for name, words in self.doubts(given) if words}
        if not asked:
            return
        about = sha256(" ".join(asked.values()).encode()).hexdigest()[:12]
        tick = forms.CheckboxInput(attrs={"value": about})
        form.fields["is_right"] = forms.BooleanField(
            label=IS_RIGHT, required=False, widget=tick, help_text=IS_RIGHT_HINT
        )
        if form.data.get(form.add_prefix("is_right")) == about:
            return
        form.data = form.data.copy()
        form.data.pop(form.add_prefix("is_right"), None)
        for name, words in asked.items():
            kept = given[name]
            form.add_error(name, f"{words} If it is right, tick so below.")
            # It can be read, so what it comes to is shown beside the question.
            form.cleaned_data[name] = kept
        self.is_only_asked = True
