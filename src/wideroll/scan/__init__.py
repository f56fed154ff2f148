"""The scanner's raster to marks, streaks and an overview, with what was and wasn't looked at."""
