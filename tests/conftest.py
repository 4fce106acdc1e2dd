"""For all tests: what they draw at random is judged by what comes out, never by the clock."""

from hypothesis import settings

settings.register_profile("no clock", deadline=None)
settings.load_profile("no clock")
