"""Many rolls at once. The only place that knows the scheduler."""
