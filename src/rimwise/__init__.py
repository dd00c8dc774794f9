"""Plan, align, measure, place, predict, follow and audit the capsule opening of a cataract eye.

Research, teaching and audit software; not a medical device.
"""

__version__ = "0.1.0"
