"""Webs, strips and examiners with known truth."""
