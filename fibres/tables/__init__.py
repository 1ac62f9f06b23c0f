"""Tables of the store, of fibres and where they come from; offers and purchases have their own."""

from fibres.tables.store import (
    AdditionTable,
    BookTable,
    FibreTable,
    FurnishTable,
    LotTable,
    PartTable,
    RefusedTable,
    ShrinkageTable,
    SourceTable,
    StoreTable,
    parts_in_words,
)

__all__ = [
    "AdditionTable",
    "BookTable",
    "FibreTable",
    "FurnishTable",
    "LotTable",
    "PartTable",
    "RefusedTable",
    "ShrinkageTable",
    "SourceTable",
    "StoreTable",
    "parts_in_words",
]
