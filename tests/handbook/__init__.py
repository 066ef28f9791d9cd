"""Tests of the handbook and the units: no database, no network."""

from hypothesis import settings

# Laws over random input: the same inputs every time, and no failure because the machine was busy.
law = settings(deadline=None, derandomize=True)
