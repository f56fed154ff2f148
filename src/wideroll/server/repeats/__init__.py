"""What returns every turn on a roll: the rollers it may come from, where to look next, and what is known of them."""

__all__: list[str] = []
