"""How the figures of commissions, makings and parcels are worked out, in the words of the pages.

Each function takes figures that a page shows already and returns one
:class:`~studio.explaining.Explained`; a sum that several pages show is worded once, here.
"""
