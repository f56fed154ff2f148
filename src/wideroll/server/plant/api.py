"""The plant and its products for machines."""

from typing import Any, Final

from fastapi import APIRouter, Depends, HTTPException, Request

from wideroll.errors import InputError
from wideroll.server.access import Allow
from wideroll.server.desk import desk_of
from wideroll.server.plant.data import plant_parts, told
from wideroll.server.plant.grids import grid_records
from wideroll.server.plant.products_data import products_of
from wideroll.server.times import today_of

__all__ = ["router"]

router: Final = APIRouter(prefix="/api", dependencies=[Depends(Allow("read"))])


@router.get("/plant", response_description="The parts of the plant; `fault` of a file that can't be read, else null.")
def plant(request: Request) -> dict[str, Any]:
    """The line, cleanings, instruments, processors, examiners and the record, as on the page of the plant."""
    parts = plant_parts(desk_of(request).root, today_of(desk_of(request)))
    return {
        "schema": "wideroll/plant/1",
        "parts": {
            part.key: {
                "file": part.file,
                "facts": dict(part.facts),
                "tables": {key: grid_records(table) for key, table in part.tables.items()},
                "fault": part.fault,
            }
            for part in parts
        },
    }


@router.get("/products", response_description="Each product in short; `trouble` of one that can't be read, else null.")
def products(request: Request) -> dict[str, Any]:
    """The plant's products."""
    found = [one | {"trouble": one["trouble"] or None} for one in products_of(desk_of(request).root)]
    return {"schema": "wideroll/products/1", "products": found}


@router.get("/products/{product}", response_description="The product's file as it is written, its faults, its rolls.")
def one(request: Request, product: str) -> dict[str, Any]:
    """A product: the text of its file, what is wrong with it, and the rolls decided by it."""
    from wideroll.acts.products import product_digest, product_text, rolls_by_product  # noqa: PLC0415
    from wideroll.readers.product_text import product_faults  # noqa: PLC0415

    root = desk_of(request).root
    try:
        sha256 = product_digest(root, product)
    except InputError as error:
        raise HTTPException(404, f"there is no product {product[:80]}") from error
    if not sha256:
        raise HTTPException(404, f"there is no product {product[:80]}")
    text = product_text(root, product)
    return {
        "schema": "wideroll/product/1",
        "product": product,
        "sha256": sha256,
        "text": text,
        "faults": [
            told(fault.error) | {"line": fault.line} for fault in product_faults(product, text, root / "products")
        ],
        "rolls": [
            {"roll": one.roll, "verdict": one.verdict, "current": one.current}
            for one in rolls_by_product(root, product)
        ],
    }
