"""What one person does in the studio, now this and now that."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from random import Random
from typing import Any
from urllib.parse import urlencode

from tests.fibres.pages import typed
from tests.load.browser import PATIENCE_SECONDS, Browser, Told
from tests.studio.pages import Page

# Between two deeds a person reads for as long as this on average, now less, now more.
MEAN_PAUSE_SECONDS = 3.0
TAPS_IN_A_ROW = 3
# Checking a password is slow on purpose: people come in a few at a time.
AT_THE_DOOR = threading.Semaphore(4)


class Person(Browser):
    """One person with a browser, dice and a pace."""

    def __init__(self, port: int, made: Mapping[str, Any], number: int) -> None:
        super().__init__(port)
        self.made = made
        self.name, self.role = made["people"][number]
        self.dice = Random(number)
        reads = [
            (self.today, 14),
            (self.store, 12),
            (self.lot, 12),
            (self.commission, 12),
            (self.search, 10),
            (self.cover, 6),
            (self.bare, 10),
        ]
        writes = [(self.take_out, 9), (self.log_scrap, 6), (self.count_pulls, 9)]
        deeds = reads if self.role == "viewer" else reads + writes
        self.deeds = [deed for deed, _ in deeds]
        self.weights = [weight for _, weight in deeds]

    def work(self, begin: threading.Barrier, seconds: float) -> Told:
        """Sign in, a few at a time, wait for the others, and go on until the time is over."""
        try:
            with AT_THE_DOOR:
                self.sign_in()
        finally:
            begin.wait(timeout=PATIENCE_SECONDS * 4)
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            time.sleep(self.dice.expovariate(1 / MEAN_PAUSE_SECONDS))
            deed: Callable[[], None] = self.dice.choices(self.deeds, self.weights)[0]
            deed()
        return self.told

    # --- reading ---------------------------------------------------------------------------------

    def today(self) -> None:
        self.get("Today", "/")

    def store(self) -> None:
        self.get("Store", "/store/")

    def lot(self) -> None:
        self.get("Lot", f"/lots/{self.dice.choice(self.made['lots'])}/")

    def commission(self) -> None:
        self.get("Commission", f"/commissions/{self.dice.choice(self.made['commissions'])}/")

    def search(self) -> None:
        # A whole reference would lead to its page; these are answered with a list.
        asked = self.dice.choice(["fibre", "source", "sheet", "00", "F0", "scrap"])
        self.get("Search", f"/search/?{urlencode({'q': asked})}")

    def cover(self) -> None:
        token = {"Authorization": f"Bearer {self.made['token']}"}
        self.get("Cover, as JSON", "/api/cover/", headers=token)

    def bare(self) -> None:
        self.get("Bare page", "/bare/")

    # --- writing ---------------------------------------------------------------------------------

    def sign_in(self) -> None:
        sent = {"username": self.name, "password": self.made["password"]}
        self.fill_in("Log in", "/log-in/", sent)

    def take_out(self) -> None:
        ref = self.dice.choice(self.made["bales"])
        mass = f"{self.dice.randint(100, 400)} g"
        self.fill_in("Take out", f"/lots/{ref}/take/", {"mass": mass, "why": "Trial."})

    def log_scrap(self) -> None:
        mass = f"{self.dice.randint(20, 40) / 10} kg"
        gift = {"fibre": str(self.made["scrap"]), "measured": "weighed", "mass": mass}
        self.fill_in("Log scrap", "/scrap/log/", gift)

    def count_pulls(self) -> None:
        """Tap a few times on the page that stays, each tap with the key that the last brought."""
        ref = self.dice.choice(self.made["makings"])
        sent = typed(Page(self.get("Log of a making", f"/makings/{ref}/log/")))
        for _ in range(TAPS_IN_A_ROW):
            sent |= {"tap": "count:pulls:1", "post": "1"}
            address, headers = f"/makings/{ref}/tap/", {"HX-Request": "true"}
            html = self.ask("Tap", "POST", address, sent, headers).html
            if "Not counted" in html or 'id="count-pulls"' not in html:
                self.told.faults.append(f"Tap at {ref}: not counted")
                return
            self.told.pulls[ref] += 1
            sent["page_key"] = typed(Page(html))["page_key"]
