"""The strips of a roll: curves to read from, departures from aim, profiles, process and instruments."""

__all__: list[str] = []
