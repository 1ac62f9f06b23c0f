"""One process of a fault test: ``python -m tests.faults.worker ACT '{"name": value}'``.

It says "ready", waits for a line so that all start together, and answers with one line of JSON.
"""

import json
import os
import sys

import django


def main(act: str, given: str) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    django.setup()
    from tests.faults import acts

    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    answer = getattr(acts, act)(**json.loads(given))
    sys.stdout.write(json.dumps(answer) + "\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
