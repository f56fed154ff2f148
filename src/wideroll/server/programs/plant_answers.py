"""What the API answers about the plant and its products, field by field."""

from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["Plant", "Product", "Products"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantPart:
    """A part of the plant, as a file tells it; ``fault`` where that can't be read."""

    file: str
    facts: dict[str, Any]
    tables: dict[str, Any]
    fault: Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """The parts by name."""

    schema: Literal["wideroll/plant/1"]
    parts: dict[str, PlantPart]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortProduct:
    """A product in short."""

    product: str
    film_type: str
    criteria: int
    widths: list[str]
    rolls: list[str]
    trouble: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Products:
    """All of them."""

    schema: Literal["wideroll/products/1"]
    products: list[ShortProduct]


@dataclass(frozen=True, slots=True, kw_only=True)
class DecidedBy:
    """A roll decided by a product; ``current`` whether by the file as it stands."""

    roll: str
    verdict: str
    current: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """The text of a product's file, what is wrong with it, and the rolls decided by it."""

    schema: Literal["wideroll/product/1"]
    product: str
    sha256: str
    text: str
    faults: list[dict[str, Any]]
    rolls: list[DecidedBy]
