"""What was measured across rolls: control charts, causes, gauges, base periods."""

__all__: list[str] = []
