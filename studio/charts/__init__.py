"""Drawings reckoned on the server: a stepped balance, bars and columns, a gauge in a table's row.

Pure arithmetic from milligrams and dates to places on a sheet; the templates in
``components/chart_*.html`` print what comes out. Every place is a Decimal with one digit after
the point (two for percent), so a page never depends on how a browser rounds.
"""

from studio.charts.bars import Gauge, Part, Stacked, gauge, stacked
from studio.charts.columns import Chart, columns, swings
from studio.charts.scales import Scale, ticks
from studio.charts.stepped import Stepped, stepped

__all__ = [
    "Chart",
    "Gauge",
    "Part",
    "Scale",
    "Stacked",
    "Stepped",
    "columns",
    "gauge",
    "stacked",
    "stepped",
    "swings",
    "ticks",
]
