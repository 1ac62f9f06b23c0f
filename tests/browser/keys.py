"""A person at the keys alone: from stop to stop with Tab, and each stop has to be seen.

WCAG 2.2: 2.1.1 keyboard, 2.4.3 focus order, 2.4.7 focus visible, 2.4.11 focus not obscured.
"""

from __future__ import annotations

from typing import Any

# More stops than any page has.
MOST_STOPS = 300
STOP = """() => {
  const it = document.activeElement;
  if (!it || it === document.body) return null;
  const box = it.getBoundingClientRect();
  const x = Math.min(Math.max(box.left + Math.min(box.width / 2, 20), 0), innerWidth - 1);
  const y = Math.min(Math.max(box.top + box.height / 2, 0), innerHeight - 1);
  const over = document.elementFromPoint(x, y);
  // The last stop in a day's field is the browser's own calendar, with a ring of its own.
  const marked = it.type === 'date' || [it, it.parentElement, it.closest('label')].some(one =>
    one && getComputedStyle(one).outlineStyle !== 'none'
      && parseFloat(getComputedStyle(one).outlineWidth) >= 2);
  const label = it.labels && it.labels[0] ? it.labels[0].innerText : '';
  return {
    words: (it.getAttribute('aria-label') || label || it.innerText || '').trim(),
    tag: it.tagName,
    seen: Boolean(over && (it.contains(over) || over.contains(it) || it.labels?.[0] === over
      || it.labels?.[0]?.contains(over))),
    marked,
  };
}"""


class Keys:
    """The keys of one window."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def to(self, words: str, *, tag: str = "") -> None:
        """Tab until the stop that bears these words; every stop on the way has to be seen."""
        passed = []
        for _ in range(MOST_STOPS):
            self.page.keyboard.press("Tab")
            stop = self.page.evaluate(STOP)
            if stop is None:
                continue
            passed.append(stop["words"][:40])
            assert stop["marked"], f"no ring around {stop}"
            assert stop["seen"], f"hidden behind something: {stop}"
            if stop["words"].startswith(words) and tag in ("", stop["tag"]):
                return
        raise AssertionError(f"no stop called {words!r} among {passed}")

    def follow(self, words: str) -> None:
        """Go to a link or a button, and press it."""
        self.to(words)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def fill(self, words: str, typed: str) -> None:
        """Go to a field and type; what stood in it is typed over."""
        self.to(words)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(typed)

    def pick(self, first: str, wanted: str) -> None:
        """Go to the one of a set that is chosen, and on with the arrows to what is wanted."""
        self.to(first)
        for _ in range(MOST_STOPS):
            if self.page.evaluate(STOP)["words"].startswith(wanted):
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"no choice called {wanted!r}")

    def choose(self, words: str, option: str) -> None:
        """Go to a choice and type the beginning of what is wanted."""
        self.to(words, tag="SELECT")
        self.page.keyboard.type(option)
