"""Regions to avoid and widths to the cut that keeps most value."""
