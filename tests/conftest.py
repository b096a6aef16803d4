"""Hypothesis draws the same cases every time in CI, so that a run there can be repeated; elsewhere it explores."""

import os

from hypothesis import settings

# a busy machine is no failure: nothing here is a timed test
settings.register_profile("exploring", deadline=None)
settings.register_profile("repeatable", deadline=None, derandomize=True)
settings.load_profile("repeatable" if os.environ.get("CI") else "exploring")
