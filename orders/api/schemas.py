"""Shapes of the answers, in the words of JSON Schema 2020-12, as OpenAPI 3.1 takes them.

Masses are whole milligrams or grams, as the end of a key says, and shares are text from "0" to
"1", so that no digit is lost on the way. Amounts of money are never required: they are left out
where the account of the token may not see them.
"""

from __future__ import annotations

from typing import Any

Schema = dict[str, Any]

TEXT: Schema = {"type": "string"}
DAY: Schema = {"type": "string", "format": "date"}
DAY_OR_NONE: Schema = {"type": ["string", "null"], "format": "date"}
COUNT: Schema = {"type": "integer", "minimum": 0}
YES_OR_NO: Schema = {"type": "boolean"}
MG: Schema = {"type": "integer", "minimum": 0, "description": "Milligrams."}
GRAMS: Schema = {"type": "number", "minimum": 0, "description": "Grams."}
SHARE: Schema = {
    "type": "string",
    "pattern": r"^[0-9]+(\.[0-9]+)?(E[-+]?[0-9]+)?$",
    "description": "A share of 1, as text.",
}
MINOR: Schema = {
    "type": ["integer", "null"],
    "description": "Money in the smallest unit of the currency; for the owner alone.",
}


def told(schema: Schema, words: str) -> Schema:
    """Return a schema with words of its own."""
    return {**schema, "description": words}


def rows(of: Schema, words: str = "") -> Schema:
    """Return the schema of a list."""
    plain: Schema = {"type": "array", "items": of}
    return {**plain, "description": words} if words else plain


def by_name(of: Schema, words: str) -> Schema:
    """Return the schema of values under the name of a fibre each."""
    return {"type": "object", "additionalProperties": of, "description": words}


def whole(properties: dict[str, Schema], *, may_lack: tuple[str, ...] = ()) -> Schema:
    """Return the schema of an object that has these keys, and no other."""
    return {
        "type": "object",
        "properties": properties,
        "required": [key for key in properties if key not in may_lack],
        "additionalProperties": False,
    }


def called(name: str) -> Schema:
    """Return the schema that is kept under a name."""
    return {"$ref": f"#/components/schemas/{name}"}


def one_of(*words: str) -> Schema:
    """Return the schema of a choice of words."""
    return {"type": "string", "enum": list(words)}


LEFT_OUT = rows(
    whole({"ref": TEXT, "why": TEXT}), "Commissions that cannot be reckoned, with the reason."
)
PART = whole(
    {
        "fibres": rows(TEXT, "The fibre, then those that may stand in for it."),
        "least": SHARE,
        "target": SHARE,
        "most": SHARE,
    }
)
INDEX = whole(
    {
        "halfstuff_api": told({"type": "integer", "const": 1}, "Version of what is read here."),
        "studio": TEXT,
        "currency": TEXT,
        "role": one_of("owner", "hand", "viewer"),
        "description": TEXT,
        "snapshot": TEXT,
        "store": TEXT,
        "cover": TEXT,
    }
)
FAULT = whole({"error": told(TEXT, "What is wrong and what to do, in plain words.")})
PICK = whole(
    {"lot": TEXT, "fibre": TEXT, "usable_g": GRAMS, "oven_dry_g": GRAMS, "as_is_g": GRAMS}
)
LACK = whole({"fibres": rows(TEXT), "usable_g": GRAMS, "oven_dry_g": GRAMS})
ANSWER = whole(
    {
        "ref": TEXT,
        "due": DAY,
        "wanted": told(COUNT, "Good sheets."),
        "state": one_of("covered", "just covered", "later", "short"),
        "covered_sheets": COUNT,
        "ready_on": DAY_OR_NONE,
        "chance": {
            "type": ["number", "null"],
            "minimum": 0,
            "maximum": 1,
            "description": "Chance that the store covers all of it; null where it is not known.",
        },
        "short": rows(LACK, "What is missing, line by line of the furnish."),
        "picks": rows(PICK, "What is set aside; as_is_g is what to weigh out."),
    }
)
BINDING = whole(
    {
        "need_g": GRAMS,
        "supply_g": GRAMS,
        "short_g": GRAMS,
        "fibres": rows(TEXT),
        "commissions": rows(TEXT),
        "lots": rows(TEXT),
    }
)
COVER = whole(
    {
        "today": DAY,
        "all_covered": YES_OR_NO,
        "lot_cost_minor": MINOR,
        "commissions": rows(called("Answer"), "In the order in which they are served."),
        "binding": rows(BINDING, "Why something is short: who shares which lots. Usable fibre."),
        "left_out": LEFT_OUT,
    },
    may_lack=("lot_cost_minor", "left_out"),
)
FIBRE = whole(
    {
        "fibre": TEXT,
        "state": TEXT,
        "on_hand_oven_dry_mg": MG,
        "at_the_vat_oven_dry_mg": told(MG, "Of what is on hand, weighed out. Milligrams."),
        "promised_oven_dry_mg": MG,
        "free_oven_dry_mg": {
            "type": "integer",
            "description": "On hand, less what is weighed out and promised. Milligrams; below 0 "
            "where more is promised than is there.",
        },
        "on_its_way_oven_dry_mg": MG,
        "minimum_oven_dry_mg": {"type": ["integer", "null"], "description": "Milligrams."},
        "short_from": DAY_OR_NONE,
        "stands": told(
            one_of("covered", "near", "short"),
            "near: below its minimum, or covered only once what is on its way has come.",
        ),
    }
)
LOT = whole(
    {
        "ref": TEXT,
        "fibre": TEXT,
        "source": TEXT,
        "place": TEXT,
        "received_on": DAY,
        "keep_until": DAY_OR_NONE,
        "received_as_is_mg": MG,
        "received_oven_dry_mg": MG,
        "on_hand_oven_dry_mg": MG,
        "at_the_vat_oven_dry_mg": told(MG, "Of what is on hand, weighed out. Milligrams."),
        "moisture": told(SHARE, "Water as a share of the mass as it is."),
        "preparation_yield": SHARE,
        "paid_minor": MINOR,
    },
    may_lack=("paid_minor",),
)
STORE = whole(
    {
        "today": DAY,
        "fibres": rows(called("Fibre"), "In the first part alone."),
        "lots": rows(called("Lot"), "Lots with fibre left, in the order they were entered."),
        "next": told(
            {"type": ["string", "null"]},
            "What to ask with for the lots that follow; null where there are no more.",
        ),
    },
    may_lack=("fibres",),
)
PLAN_LOT = whole(
    {
        "ref": told(TEXT, "A lot, or a purchase with the number of its line."),
        "fibre": TEXT,
        "usable_mg": MG,
        "oven_dry_mg": MG,
        "as_is_mg": MG,
        "from": told(DAY, "The first day on which it can be used."),
        "until": DAY_OR_NONE,
        "cost_minor_per_kg": MINOR,
        "marks": rows(TEXT),
        "spread": told({"type": ["string", "null"]}, "How far its mass may be off, as a share."),
    },
    may_lack=("cost_minor_per_kg",),
)
AT_VAT = whole({"pull_mg": MG, "lying_mg": rows(MG), "extra_mg": MG})
PROMISE = whole(
    {
        "ref": TEXT,
        "priority": COUNT,
        "wanted": told(COUNT, "Good sheets."),
        "need_mg": told(MG, "Usable fibre on average. Milligrams."),
        "safe_need_mg": told(MG, "Usable fibre that is enough nearly always. Milligrams."),
        "due": DAY,
        "pull_mg": MG,
        "sheets_per_pull": COUNT,
        "good_share": SHARE,
        "furnish": rows(PART),
        "excludes": rows(TEXT),
        "only_lots": {"type": ["array", "null"], "items": TEXT},
        "all_or_nothing": YES_OR_NO,
        "needed_on": DAY_OR_NONE,
        "learned": told(rows(TEXT), "Good sheets of a pull, as learned from makings."),
        "weighed_sheets": told(COUNT, "Of those wanted, sheets whose fibre lies at the vat."),
        "at_vat": AT_VAT,
        "making_days": COUNT,
    },
    may_lack=("learned", "weighed_sheets", "at_vat", "making_days"),
)
SOURCE = whole(
    {
        "ref": TEXT,
        "lead_days": COUNT,
        "freight_minor": MINOR,
        "order_minimum_minor": MINOR,
        "free_freight_from_minor": MINOR,
        "season": {"type": ["array", "null"], "items": TEXT, "minItems": 2, "maxItems": 2},
    },
    may_lack=("freight_minor", "order_minimum_minor", "free_freight_from_minor"),
)
OFFER = whole(
    {
        "ref": TEXT,
        "source": TEXT,
        "fibre": TEXT,
        "pack_usable_mg": MG,
        "least_packs": COUNT,
        "breaks": rows(
            {"type": "array", "items": {"type": "integer"}, "minItems": 2, "maxItems": 2},
            "From how many packs on a pack costs how much, in the smallest unit of the "
            "currency; for the owner alone.",
        ),
        "breaks_are": TEXT,
        "valid_from": DAY_OR_NONE,
        "valid_to": DAY_OR_NONE,
    },
    may_lack=("breaks",),
)
SOURCING = whole(
    {
        "horizon_days": COUNT,
        "minimum_mg": by_name(MG, "What is to be kept of each fibre, usable."),
        "holding_minor_per_kg_day": by_name(TEXT, "What keeping costs; for the owner alone."),
        "demand": {"type": ["array", "null"], "items": {"type": "object"}},
        "sources": rows(SOURCE),
        "offers": rows(OFFER),
    },
    may_lack=("holding_minor_per_kg_day",),
)
SNAPSHOT = whole(
    {
        "halfstuff_snapshot": {"type": "integer", "const": 1},
        "today": DAY,
        "currency": TEXT,
        "aims": TEXT,
        "lots": rows(PLAN_LOT),
        "commissions": rows(PROMISE),
        "yields": by_name(SHARE, "What preparation leaves of each fibre."),
        "yield_spread": by_name(SHARE, "How far that may be off."),
        "sourcing": SOURCING,
        "left_out": LEFT_OUT,
    },
    may_lack=("yield_spread", "left_out"),
)
SCHEMAS: dict[str, Schema] = {
    "Index": INDEX,
    "Snapshot": SNAPSHOT,
    "Store": STORE,
    "Fibre": FIBRE,
    "Lot": LOT,
    "Cover": COVER,
    "Answer": ANSWER,
    "Fault": FAULT,
}
