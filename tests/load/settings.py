"""The studio's own settings, with one page more: the bare one that others are held against."""

from studio.settings import *  # noqa: F403

ROOT_URLCONF = "tests.load.urls"
