"""The shop's own settings with one more address: the plain view that the load is held against."""

from shop.settings import *  # noqa: F403

ROOT_URLCONF = "tests.benchmarks.load_urls"
