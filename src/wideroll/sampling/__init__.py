"""Counts in samples to rates with limits, and where to take the next sample.

A rate never leaves this room without its limits, and nothing here judges it: whether a rate is good enough is a
criterion's matter. Nothing here reads files or the clock, and the only chance is that of a stated seed.
"""

from wideroll.sampling.model import RateLimits
from wideroll.sampling.rates import area_needed, rate_limits
from wideroll.sampling.sheets import place_sheets

__all__ = ["RateLimits", "area_needed", "place_sheets", "rate_limits"]
