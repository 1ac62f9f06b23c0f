"""One page sent many times at once, over real HTTP, is entered once."""

from __future__ import annotations

import http.client
import threading
import uuid
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing
from urllib.parse import urlencode

import pytest

from tests.builders import KG
from tests.faults.place import Place, begin

pytestmark = pytest.mark.faults

KEYS, SENDERS = 500, 8
TOKEN = "a" * 32


def test_five_hundred_pages_sent_eight_times_each_are_five_hundred_rows(place: Place):
    made = place.run("prepare", as_is_mg=KG, moisture="0")
    before = place.value("SELECT COUNT(*) FROM studio_entry")

    with ExitStack() as stack:
        ports = []
        for _ in range(2):
            server = stack.enter_context(place.worker("serve"))
            begin(server)
            assert server.stdout
            ports.append(int(server.stdout.readline()))
        statuses = _send_all(ports, made["session"])

    # 302 leads to what the first sending wrote; nothing else is an answer to a doubled page.
    assert statuses == {302: KEYS * SENDERS}
    assert place.value("SELECT COUNT(*) FROM studio_mould") == KEYS
    assert place.value("SELECT COUNT(*) FROM studio_entry") - before == KEYS


def _send_all(ports: list[int], session: str) -> Counter[int]:
    keys = [uuid.UUID(int=number + 1) for number in range(KEYS)]
    together = threading.Barrier(SENDERS)

    def send(sender: int) -> Counter[int]:
        found: Counter[int] = Counter()
        port = ports[sender % len(ports)]
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=120)) as connection:
            for key in keys:
                together.wait(timeout=120)
                found[_post_mould(connection, key, session)] += 1
        return found

    with ThreadPoolExecutor(SENDERS) as pool:
        return sum(pool.map(send, range(SENDERS)), Counter())


def _post_mould(connection: http.client.HTTPConnection, key: uuid.UUID, session: str) -> int:
    form = {
        "csrfmiddlewaretoken": TOKEN,
        "request_key": str(key),
        "name": f"Mould {key.int}",
        "size": "A4",
        "remarks": "",
    }
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Cookie": f"sessionid={session}; csrftoken={TOKEN}",
    }
    connection.request("POST", "/moulds/new/", urlencode(form), headers)
    answer = connection.getresponse()
    answer.read()
    return answer.status
