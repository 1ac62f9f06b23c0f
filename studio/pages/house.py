"""What every page of the house knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from studio import roles
from studio.context import current_studio
from studio.explaining import Explained, Reader


class HousePage:
    """What every page of the house knows: the studio, and the role of who looks at it."""

    request: HttpRequest
    # The framework's form views would take PUT for POST.
    http_method_names = ["get", "post", "head", "options"]
    heading = ""
    lede = ""
    back: tuple[str, str] | None = None

    @property
    def studio(self) -> Any:
        """The studio's row, read once a request."""
        return current_studio(self.request)

    @property
    def sees_money(self) -> bool:
        """Whether who looks may see what things cost."""
        return roles.can(self.request.user, "money")

    @property
    def reader(self) -> Reader:
        """Who looks, as the sentences under "How this is worked out" take it."""
        studio = self.studio
        return Reader(studio.units, studio.currency, self.sees_money)

    def get_back(self) -> tuple[str, str] | None:
        """Return the words and the address of the way back."""
        return (self.back[0], reverse(self.back[1])) if self.back else None

    def get_heading(self) -> str:
        """Return the words of the h1."""
        return self.heading

    def get_lede(self) -> str:
        """Return the one sentence that says what matters."""
        return self.lede

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Return how the figures of the page are worked out; ``shown`` is what the page shows.

        Nothing is read from the database here: what went in is what stands on the page.
        """
        return ()

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add heading, lede and way back."""
        context: dict[str, Any] = super().get_context_data(**kwargs)  # type: ignore[misc]
        return {
            "heading": self.get_heading(),
            "lede": self.get_lede(),
            "back": self.get_back(),
            "view": self,
            **context,
        }
