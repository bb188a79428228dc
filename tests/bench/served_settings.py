"""The settings as they are, with one more address: the bare view that scans are compared with."""

from tooling.settings import *  # noqa: F403 (a copy with one name changed)

ROOT_URLCONF = "tests.bench.bare"
