"""Counts in samples to rates with limits."""
