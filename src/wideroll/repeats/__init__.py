"""Marks along the web to series that return every turn, and the roller that made them."""
