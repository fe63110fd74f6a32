"""Property tests here call compiled code, whose first call takes seconds: no deadline for a single example."""

from hypothesis import settings

settings.register_profile("compiled", deadline=None)
settings.load_profile("compiled")
