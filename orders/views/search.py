"""The page of the search box: what holds the words that were typed, noun by noun."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from orders.searching import NOUNS
from studio import search
from studio.lists import FilterForm
from studio.pages import HousePage
from studio.roles import needs
from studio.search import Asked, Group, Shown

MOST_ECHOED = 40
NOTHING_ASKED = "Type a name, a word or a reference into the box at the top of any page."


class FindForm(FilterForm):
    """What is looked for; the box itself stands in the band of every page."""

    q = forms.CharField(label="Find a word or a reference", required=False)


@needs("read")
class SearchPage(HousePage, TemplateView):
    """What was found; a reference that one row alone has leads straight to its page."""

    template_name = "orders/search.html"

    @cached_property
    def form(self) -> FindForm:
        """Return what was typed; unbound where nothing was."""
        return FindForm(self.request.GET if "q" in self.request.GET else None)

    @cached_property
    def asked(self) -> Asked:
        """Return what is looked for; nothing where it cannot be read."""
        good = self.form.is_bound and self.form.is_valid()
        return Asked.read(self.form.cleaned_data["q"] if good else "")

    @cached_property
    def groups(self) -> list[Group]:
        """Return what was found, noun by noun, and the words of the trade after them."""
        found = search.find(NOUNS, self.asked, self.request.user)
        called = search.found_words(self.asked)
        return [*found, called] if called else found

    @cached_property
    def near(self) -> list[Shown]:
        """Return references near the one that was typed, where nothing was found."""
        return [] if self.groups else search.near(NOUNS, self.asked, self.request.user)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show what was found, or go to the page of the one reference."""
        page = search.called(NOUNS, self.asked, request.user)
        return redirect(page) if page else super().get(request, *args, **kwargs)

    def get_heading(self) -> str:
        """Return the words that were looked for."""
        return f"Find {_quoted(self.asked.text)}" if self.asked.words else "Find"

    def get_lede(self) -> str:
        """Say how much of what was found, or that nothing was."""
        if self.form.errors:
            return "Nothing was looked for."
        if not self.asked.words:
            return NOTHING_ASKED
        if not self.groups:
            return f"Nothing holds {_quoted(self.asked.text)}."
        return f"Found {_listed([group.counted for group in self.groups])}."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what was found and where else one can look."""
        readable = [*search.for_whom(NOUNS, self.request.user), search.WORDS]
        return super().get_context_data(
            form=self.form,
            asked_text=self.form.data.get("q", "") if self.form.is_bound else "",
            asked_badly=bool(self.form.errors),
            groups=self.groups,
            near=self.near,
            several=len(self.asked.words) > 1,
            looked_in=[(reverse(noun.route), noun.many) for noun in readable],
            **kwargs,
        )


def _quoted(text: str) -> str:
    cut = f"{text[:MOST_ECHOED]}…" if len(text) > MOST_ECHOED else text
    return f"“{cut}”"


def _listed(parts: list[str]) -> str:
    return " and ".join(filter(None, [", ".join(parts[:-1]), parts[-1]]))
