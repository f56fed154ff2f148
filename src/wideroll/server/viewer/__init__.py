"""The viewer: a roll's scan with deep zoom, segment by segment, the marks on it, and the same marks as a table."""

__all__: list[str] = []
