"""The suite runs the same examples every time; look for new ones with ``pytest --hypothesis-profile=explore``."""

from hypothesis import settings

settings.register_profile("suite", derandomize=True, deadline=None)
settings.register_profile("explore", max_examples=1000, deadline=None)
settings.load_profile("suite")
