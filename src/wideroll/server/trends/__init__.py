"""What was measured across rolls: control charts, causes, gauges, base periods."""
