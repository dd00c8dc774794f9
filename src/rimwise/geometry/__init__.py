"""Plane geometry with uncertainty: circles, ellipses, closed curves, cover; no eye in it."""
