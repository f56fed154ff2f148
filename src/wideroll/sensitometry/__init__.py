"""Strip readings to curves, speed, contrast and deviations from aim."""
