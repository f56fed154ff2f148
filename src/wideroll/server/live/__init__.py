"""What happens in the plant, told to open pages as it happens."""

__all__: list[str] = []
