"""Coming in and going out: by password or by a provider of names, and the password of one's own."""

__all__: list[str] = []
