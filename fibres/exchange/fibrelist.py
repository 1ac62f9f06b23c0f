"""The list of fibres: each kind of material in one state, with its usual figures."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from fibres.exchange.named import NamedList
from fibres.forms.fibres import LETTERS, MOST_DAYS
from fibres.models import Fibre
from studio.files.columns import Column, choices_of

TOO_LONG = 2000


class FibreList(NamedList):
    """Fibres by name."""

    slug, title, noun, nouns = "fibres", "Fibres", "fibre", "fibres"
    lede = "Kinds of material, each in one state, with the figures that turn a lot into fibre."
    act = "take in fibres"
    route = "fibres"
    model = Fibre
    columns = (
        Column("name", "name", "As it is called everywhere; the same plant in another state is "
               "another fibre.", "White bark kozo", "the name of a fibre", needed=True),
        Column("code", "name", "One to three letters before the numbers of its lots.", "WK",
               longest=3),
        Column("family", "choice", "What it is made of.", "bast", "a family",
               choices=choices_of(Fibre.Family)),
        Column("state", "name", "As it comes to you.", "white bark, dry"),
        Column("class", "choice", "Its class for recycled claims.", "virgin", "a class",
               choices=choices_of(Fibre.SourceClass), also=("source class",)),
        Column("usual moisture", "share", "Water of the mass as it is.", "10", unit="%",
               below_one=True),
        Column("preparation yield", "share", "What preparation leaves of the oven-dry fibre.",
               "55", unit="%", zero=False, also=("yield",)),
        Column("yield spread", "share", "Standard deviation of that yield.", "4", unit="%",
               most=30),
        Column("preparation days", "count", "To soak, cook and beat before the vat.", "3",
               most=365),
        Column("evidence", "text", "Where these figures come from.", "Own lots of 2025",
               longest=TOO_LONG),
        Column("minimum", "mass", "To be kept in store, oven-dry.", "2", unit="kg"),
        Column("keeps wet days", "count", "How long it keeps once it is wet.", "5", least=1,
               most=MOST_DAYS),
        Column("scrap", "yes", "Whether it is offered where scrap is logged: yes or no.", "no"),
        Column("refused", "yes", "Whether it is refused at the door: yes or no.", "no"),
        Column("refusals", "text", "What is refused of it, and why.", longest=TOO_LONG),
        Column("cautions", "text", "Where work with it can hurt.", longest=TOO_LONG),
        Column("sorting minutes a kg", "number", "Minutes of sorting for a kilogram as it is.",
               "0", most=9999),
        Column("closed", "day", "The day from which it is not offered any more."),
    )  # fmt: skip
    attributes = {
        "code": "code", "family": "family", "state": "state", "class": "source_class",
        "usual moisture": "usual_moisture", "preparation yield": "preparation_yield",
        "yield spread": "yield_spread", "preparation days": "preparation_days",
        "evidence": "evidence", "minimum": "minimum_mg", "keeps wet days": "keeps_wet_days",
        "scrap": "is_scrap", "refused": "is_refused", "refusals": "refusals",
        "cautions": "cautions", "sorting minutes a kg": "sorting_minutes_per_kg",
        "closed": "closed_on",
    }  # fmt: skip
    rules = (
        "A fibre that is there already is known by its name. What a cell says replaces what is "
        "there; an empty cell leaves it.",
        "Cover, costs and purchases are worked out with the new figures at once.",
    )

    def check(self, row: Any) -> None:
        """Ask for plain letters, and for the sentence that a refusal answers with."""
        if not LETTERS.fullmatch(row.code):
            raise ValidationError({"code": "Give one to three letters from A to Z, such as AB."})
        if row.is_refused and not row.refusals:
            raise ValidationError(
                {"refusals": "Say why it is refused: the donor is told this sentence."}
            )
