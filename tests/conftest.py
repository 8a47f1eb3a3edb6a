"""Settings of all tests."""

from hypothesis import settings

# a slow machine is not a wrong result
settings.register_profile("gatesim", deadline=None, print_blob=True)
settings.load_profile("gatesim")
