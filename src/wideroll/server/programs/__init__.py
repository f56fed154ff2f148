"""The API told: what programs may ask for, how, and what they get."""

__all__: list[str] = []
