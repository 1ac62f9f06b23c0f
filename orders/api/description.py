"""What other programs can ask and what comes back, as an OpenAPI 3.1 description."""

from __future__ import annotations

from typing import Any

from orders.api.schemas import SCHEMAS, called

JSON = "application/json"
FAULTS = {
    "400": "Something was asked that is not known at this address.",
    "401": "No token came along, or one that is not known or closed.",
    "403": "The account of the token has no role.",
    "404": "There is nothing that is called so.",
    "405": "Something else than reading was asked.",
    "409": "The commission cannot be reckoned; the answer says why.",
    "429": "Too many wrong tokens came from this address.",
}
USUAL = ("400", "401", "403", "405", "429")
TOLD = {
    "401": {"WWW-Authenticate": {"schema": {"type": "string"}, "required": True}},
    "405": {"Allow": {"schema": {"type": "string"}, "required": True}},
    "429": {"Retry-After": {"schema": {"type": "string"}, "required": True}},
}
AFTER = {
    "name": "after",
    "in": "query",
    "description": "The last lot of the part before, as its next names it.",
    "schema": {"type": "string", "pattern": "^[-a-zA-Z0-9_]{1,16}$"},
    "example": "AB-0003",
}
REF = {
    "name": "ref",
    "in": "path",
    "required": True,
    "description": "A commission, such as C-101.",
    "schema": {"type": "string", "pattern": "^[-a-zA-Z0-9_]+$", "maxLength": 40},
    "example": "C-101",
}


def _answer(words: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"description": words, "content": {JSON: {"schema": schema}}}


def _fault(number: str) -> dict[str, Any]:
    plain = _answer(FAULTS[number], called("Fault"))
    return {**plain, "headers": TOLD[number]} if number in TOLD else plain


def _reading(
    name: str,
    words: str,
    schema: dict[str, Any],
    *,
    faults: tuple[str, ...] = USUAL,
    **more: Any,
) -> dict[str, Any]:
    return {
        "get": {
            "operationId": name,
            "summary": words,
            "responses": {
                "200": _answer("The answer.", schema),
                **{number: _fault(number) for number in faults},
            },
            **more,
        }
    }


DESCRIPTION: dict[str, Any] = {
    "openapi": "3.1.0",
    "info": {
        "title": "Halfstuff, for other programs",
        "version": "1",
        "description": "Read-only. Send a token with each request: “Authorization: Bearer …”. "
        "Masses stand in the unit that their key ends in. Amounts of money are left out unless "
        "the token is an owner’s. HEAD is answered wherever GET is.",
    },
    "servers": [{"url": "/"}],
    "security": [{"token": []}],
    "paths": {
        "/api/": _reading("index", "What there is to read, and as whom", called("Index")),
        "/api/openapi.json": _reading(
            "description",
            "This description",
            {"type": "object", "required": ["openapi", "info", "paths"]},
            faults=("400", "405"),
            security=[],
        ),
        "/api/snapshot/": _reading(
            "snapshot", "All that planning reads: lots, promises, offers", called("Snapshot")
        ),
        "/api/store/": _reading(
            "store",
            "How each fibre stands, and the lots with fibre left, 500 at a time",
            called("Store"),
            faults=(*USUAL, "404"),
            parameters=[AFTER],
        ),
        "/api/cover/": _reading(
            "cover", "Whether the store covers what is promised", called("Cover")
        ),
        "/api/cover/{ref}/": _reading(
            "coverOne",
            "Whether the store covers one commission",
            called("Cover"),
            faults=(*USUAL, "404", "409"),
            parameters=[REF],
        ),
    },
    "components": {
        "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        "schemas": SCHEMAS,
    },
}
