"""Where the sums of this app come from, as ``fixtures/published/SOURCES.md`` has them."""

from __future__ import annotations

from fibres.explained.water import ISO_287

COUNTED = "Counted from what was entered."
MOISTURE = ISO_287
GRAMMAGE = "ISO 536, grammage, definition from memory."
NEGATIVE_BINOMIAL = (
    "Boost.Math documentation, negative binomial distribution, the sample-size example."
)
RECYCLED = "ISO 14021, self-declared environmental claims: recycled content, as quoted."
BOOK = "IAS 2, Inventories, paragraphs 10 to 27, as summaries give them."
MARKUP = (
    "Definition; markup and margin as a reference chart has them. The parts of a cost are "
    "common practice, no source. Rates are the owner’s figures, set on the Studio page."
)
STUDENT = "NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2, limits of a mean."
BETWEEN_MAKINGS = (
    "Kleinman, Journal of the American Statistical Association 68 (1973) 46, from memory; how far "
    "makings usually differ is common practice, no source."
)
LEAST_COST = (
    "Wagner and Whitin, “Dynamic Version of the Economic Lot Size Model”, Management Science 5 "
    "(1958) 89, for the least cost over time; packs, price breaks and freight by definition."
)
