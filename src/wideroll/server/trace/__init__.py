"""From a place on a finished roll back to where it was coated, and the other way."""

__all__: list[str] = []
