"""Invented wide rolls and the products they are cut into, to measure planning by."""

from slitting_rolls.rolls import PRODUCTS, WIDTH_MM, Product, WideRoll, wide_roll, wide_rolls

__all__ = ["PRODUCTS", "WIDTH_MM", "Product", "WideRoll", "wide_roll", "wide_rolls"]
