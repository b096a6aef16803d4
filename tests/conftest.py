"""Hypothesis draws the same cases every time in CI, so that a run there can be repeated; elsewhere it explores."""

import os

from hypothesis import settings

# as the commands do; set before numpy is loaded, which reads it once
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# a busy machine is no failure: nothing here is a timed test
settings.register_profile("exploring", deadline=None)
settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable" if os.environ.get("CI") else "exploring")
