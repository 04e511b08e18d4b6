"""For all tests: nothing is judged by how long it takes, which a busy machine would decide."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
