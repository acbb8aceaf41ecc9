"""One setting for every property test: the same examples each time, however busy the machine."""

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")
