"""Finds ellipses, edges and spots in pixels; knows no eye."""
