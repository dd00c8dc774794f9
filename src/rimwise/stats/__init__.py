"""Chance: containment, intervals, sampling and error propagation; no eye in it."""
