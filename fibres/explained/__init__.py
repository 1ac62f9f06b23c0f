"""How the figures of the store are worked out, in the words of its pages; several share a sum.

Each function takes what a page has read and returns one :class:`studio.explaining.Explained`.
The formulas are those of ``fibres/calc``; sources agree with ``fixtures/published/SOURCES.md``.
"""
