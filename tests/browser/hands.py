"""A person at a phone, counted: what is read, typed and pressed, turned into seconds.

The seconds are those of the keystroke-level model: S. K. Card, T. P. Moran and A. Newell, "The
keystroke-level model for user performance time with interactive systems", Communications of the
ACM 23 (7), 1980, 396-410. Its operators were read in a university's teaching page that gives the
table of the authors' book of 1983. No clock is looked at: the same way always counts the same.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from tests.browser.screen import press, settle

# Seconds of one operator. M: make up one's mind. P: point at a place, by mouse; a thumb on a
# phone is taken to be no quicker. B: press once there. H: a hand goes to the keys.
MIND, POINT, TAP, HAND = 1.35, 1.10, 0.20, 0.40
# One key. The model's average typist who is no secretary takes 0.28 s; 0.50 s is its figure for
# random letters. Typists on phones are a little quicker than that even with one index finger:
# 25 words of five signs a minute, 0.48 s a sign (K. Palin and others, "How do people type on
# mobile devices?", MobileHCI 2019, 37 370 volunteers; as a newspaper gives its figures).
KEY, KEY_AT_WORK = 0.50, 0.28
# Words a minute, silent reading of English non-fiction: mean, and the low end of most adults
# (M. Brysbaert, Journal of Memory and Language 109, 2019, 104047, abstract).
WORDS_A_MINUTE, WORDS_A_MINUTE_SLOW = 238, 175
# R, the answer of the machine: our own allowance for each page, no source.
ANSWER = 1.0

# Words that can be seen from the top of the page to what is pressed; of a list of choices only
# its chosen one can.
SEEN = r"""end => {
  const words = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
  let seen = 0;
  while (words.nextNode()) {
    const text = words.currentNode, holder = text.parentElement;
    if (holder.closest("select, script") || !holder.checkVisibility({visibilityProperty: true}))
      continue;
    if (end && !end.contains(text)
        && !(text.compareDocumentPosition(end) & Node.DOCUMENT_POSITION_FOLLOWING)) break;
    seen += (text.textContent.match(/\S+/g) || []).length;
  }
  return seen;
}"""


@dataclass
class Hands:
    """What one person does on a page, and how long a person takes for it."""

    page: Any
    keys: int = 0
    taps: int = 0
    decisions: int = 0
    reaches: int = 0
    pages: int = 1
    words: int = 0
    told: list[str] = field(default_factory=list)

    def read(self, end: Any = None) -> None:
        """Read all words down to an element, or the whole page."""
        before = self.words
        self.words += self.page.evaluate(SEEN, end.element_handle() if end else None)
        self.told.append(f"{self.page.url.split('/', 3)[3] or 'today'}: {self.words - before}")

    def type(self, label: str, text: str, *, seen: str = "") -> None:
        """Decide on what a field wants, tap it, go to the keys and type."""
        self._point()
        self.reaches += 1
        self.keys += len(text)
        self.page.get_by_role("textbox", name=re.compile(rf"^{label}( optional)?$")).or_(
            self.page.get_by_label(label, exact=True)
        ).first.fill(seen or text)

    def choose(self, label: str, option: str) -> None:
        """Open a list of choices, read it as far as the one that is wanted, and tap that."""
        self._point()
        self._point()
        names = self.page.get_by_label(label).locator("option").all_inner_texts()
        above = names[: names.index(option) + 1]
        self.words += sum(len(name.split()) for name in above)
        self.page.get_by_label(label).select_option(label=option)

    def press(self, name: str) -> None:
        """Read down to a button, decide and press it; wait for the page."""
        settle(self.page)
        self.read(self.page.get_by_role("button", name=name, exact=True).last)
        self._go()
        press(self.page, name)

    def follow(self, name: str, *, reading: bool = True) -> None:
        """Read down to a link, unless the page was read already; decide and tap it."""
        link = self.page.get_by_role("link", name=name, exact=True).first
        if reading:
            self.read(link)
        self._go()
        link.click()

    def _point(self) -> None:
        self.decisions += 1
        self.taps += 1

    def _go(self) -> None:
        self._point()
        self.pages += 1

    def seconds(self, *, key: float = KEY, words_a_minute: int = WORDS_A_MINUTE) -> float:
        """Return the time of all that was done."""
        return (
            self.keys * key
            + self.taps * (POINT + TAP)
            + self.decisions * MIND
            + self.reaches * HAND
            + self.pages * ANSWER
            + self.words * 60 / words_a_minute
        )

    def __str__(self) -> str:
        return (
            f"{self.pages} pages, {self.words} words, {self.keys} keys, {self.taps} taps, "
            f"{self.seconds():.0f} s; {'; '.join(self.told)}"
        )
