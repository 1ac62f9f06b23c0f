"""The shapes that the pages of both apps share: enter, change, close, and ask on a form.

A page reads a form, calls one service and leads on to where the result stands. What a service
refuses comes back beside the field it concerns, with everything that was typed still there; a
page sent twice leads to what the first sending wrote.
"""

from studio.pages.closing import ClosePage, hanging
from studio.pages.forms import BEATEN, NOT_SAVED, SHORT, FormPage, blame
from studio.pages.house import HousePage
from studio.pages.rows import RowPage

__all__ = [
    "BEATEN",
    "NOT_SAVED",
    "SHORT",
    "ClosePage",
    "FormPage",
    "HousePage",
    "RowPage",
    "blame",
    "hanging",
]
