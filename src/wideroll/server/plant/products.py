"""The pages of products: the list, one as tables, and changing it in two steps, look and save."""

from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from wideroll.errors import InputError
from wideroll.server.access import Allow, Person, person_of
from wideroll.server.desk import desk_of
from wideroll.server.pages import page
from wideroll.server.plant.data import told
from wideroll.server.plant.grids import grid_lines
from wideroll.server.plant.products_data import fault_words, product_tables, products_grid, products_of

__all__ = ["router"]

router: Final = APIRouter(prefix="/plant", dependencies=[Depends(Allow("read"))])
_Changer = Annotated[Person, Depends(Allow("decide", "administer"))]
_WRONG, _CONFLICT, _SEE_OTHER = 422, 409, 303
_WAYS: Final = ("fields", "text")


async def _typed(request: Request) -> dict[str, list[str]]:
    """All fields of the form, as there are others for each product."""
    form = await request.form(max_fields=4000)
    return {key: [str(one) for one in form.getlist(key) if isinstance(one, str)] for key in form}


_Form = Annotated[dict[str, list[str]], Depends(_typed)]


@router.get("/products", response_class=HTMLResponse)
def products(request: Request, format: str = "") -> Response:  # noqa: A002
    """The products of the plant."""
    desk = desk_of(request)
    table = products_grid(products_of(desk.root))
    if format == "csv":
        return _csv(grid_lines(table))
    return page(request, "plant/products.html.j2", table_of_products=table, may=_may(request))


@router.get("/products/{product}", response_class=HTMLResponse)
def one(request: Request, product: str) -> Response:
    """A product as tables, or what is wrong with its file."""
    from wideroll.acts.products import rolls_by_product  # noqa: PLC0415
    from wideroll.readers.product_text import product_faults  # noqa: PLC0415

    root, text = desk_of(request).root, _text(request, product)
    return page(
        request,
        "plant/product.html.j2",
        product=product,
        tables=product_tables(text),
        faults=[told(fault.error) | {"line": fault.line} for fault in product_faults(product, text, root / "products")],
        rolls=rolls_by_product(root, product),
        text=text,
        may=_may(request),
        done=request.query_params.get("done", ""),
    )


@router.get("/products/{product}/tables/{key}.csv")
def table(request: Request, product: str, key: str) -> Response:
    """A table of a product as CSV."""
    tables = product_tables(_text(request, product))
    if key not in tables:
        raise HTTPException(404, f"the product has no table {key[:80]}")
    return _csv(grid_lines(tables[key]))


@router.get("/products/{product}/change", response_class=HTMLResponse)
def change(request: Request, person: _Changer, product: str, way: str = "fields") -> Response:
    """The form to change a product: its usual fields, or its whole text."""
    del person
    text = _text(request, product)
    return _form(request, product, way=way, base=text, text=text)


@router.post("/products/{product}/change", response_class=HTMLResponse)
def look(request: Request, person: _Changer, product: str, form: _Form) -> Response:
    """What a change would do; the form again where something is wrong."""
    del person
    from wideroll.acts.product_fields import laid_over, with_fields  # noqa: PLC0415
    from wideroll.acts.products import product_digest  # noqa: PLC0415

    now, base, way = _text(request, product), _plain(form, "base"), _first(form, "way")
    if way == "text":
        text = _plain(form, "text")
        if _first(form, "go") == "back":
            since = None if _first(form, "seen") == product_digest(desk_of(request).root, product) else ""
            return _form(request, product, way=way, base=now, text=text, since=since)
        if base != now:
            return _form(request, product, way=way, base=now, text=text, since=base)
        return _summary(request, product, text, way=way, typed={})
    typed = {key: values[0] for key, values in form.items() if values}
    if base != now:
        return _form(request, product, way=way, base=now, text=now, typed=laid_over(now, base, typed), since=base)
    try:
        text = with_fields(now, typed)
    except InputError as error:
        wrong = {"field": error.where, "words": _words(error, now), "key": error.where}
        return _form(request, product, way=way, base=now, text=now, typed=typed, errors=[wrong])
    return _summary(request, product, text, way=way, typed=typed)


@router.post("/products/{product}/save", response_class=HTMLResponse)
def save(request: Request, person: _Changer, product: str, form: _Form) -> Response:
    """Write the product's file and its event in the record."""
    from wideroll.acts.products import product_digest, save_product  # noqa: PLC0415

    root, seen, text = desk_of(request).root, _first(form, "seen"), _plain(form, "text")
    try:
        event = save_product(root, product, text, seen=seen, who=person.name, taken_out=form.get("taken-out", []))
    except InputError as error:
        if product_digest(root, product) == seen:
            return _summary(request, product, text, way="text", typed={}, errors=[_wrong(error)])
        if not seen:
            return _new(request, name=product, text=text, copied="", errors=[_wrong(error)], status=_CONFLICT)
        now = _text(request, product)
        return _form(request, product, way="text", base=now, text=text, since="")
    return RedirectResponse(f"/plant/products/{product}?{urlencode({'done': event.number})}", status_code=_SEE_OTHER)


@router.get("/new-product", response_class=HTMLResponse)
def new(request: Request, person: _Changer, copied: str = "") -> Response:
    """The form for a new product, begun from a copy of another or from nothing."""
    del person
    text = _text(request, copied) if copied else ""
    return _new(request, name="", text=text, copied=copied)


@router.post("/new-product", response_class=HTMLResponse)
def look_at_new(request: Request, person: _Changer, form: _Form) -> Response:
    """What a new product would be; the form again where something is wrong."""
    del person
    from wideroll.acts.products import check_product_name, product_digest  # noqa: PLC0415

    name, text, copied = _first(form, "name").strip(), _plain(form, "text"), _first(form, "copied")
    try:
        check_product_name(name)
        taken = bool(product_digest(desk_of(request).root, name))
    except InputError as error:
        return _new(request, name=name, text=text, copied=copied, errors=[_wrong(error)])
    if taken:
        there = InputError(where="name", rule="there is such a product already", value=name, mend="Give another.")
        return _new(request, name=name, text=text, copied=copied, errors=[_wrong(there)])
    if _first(form, "go") == "back":
        return _new(request, name=name, text=text, copied=copied, status=200)
    return _summary(request, name, text, way="new", typed={})


def _summary(
    request: Request,
    product: str,
    text: str,
    *,
    way: str,
    typed: dict[str, str],
    errors: list[dict[str, str]] | None = None,
) -> Response:
    from wideroll.acts.product_fields import product_fields  # noqa: PLC0415
    from wideroll.acts.products import plan_change, product_digest, product_text  # noqa: PLC0415

    root = desk_of(request).root
    found = plan_change(root, product, text)
    seen = product_digest(root, product)
    if found.faults:
        keys = [field.key for group in product_fields(text) for field in group.fields] if way == "fields" else []
        wrongs = [fault_words(fault, keys) for fault in found.faults]
        if not seen:
            return _new(request, name=product, text=text, copied="", errors=wrongs)
        now = product_text(root, product)
        shown = now if way == "fields" else text
        return _form(request, product, way=way, base=now, text=shown, typed=typed, errors=wrongs)
    return page(
        request,
        "plant/summary.html.j2",
        status=_WRONG if errors else 200,
        change=found,
        seen=seen,
        same=bool(seen) and found.text == product_text(root, product),
        errors=errors or [],
    )


def _form(
    request: Request,
    product: str,
    *,
    way: str,
    base: str,
    text: str,
    typed: dict[str, str] | None = None,
    errors: list[dict[str, str]] | None = None,
    since: str | None = None,
) -> Response:
    """The form; ``since`` is the text that it was shown from where the file was changed since, empty where unknown."""
    from wideroll.acts.product_fields import product_fields  # noqa: PLC0415
    from wideroll.acts.products import changes_between  # noqa: PLC0415

    return page(
        request,
        "plant/change.html.j2",
        status=_WRONG if errors else _CONFLICT if since is not None else 200,
        product=product,
        way=way if way in _WAYS else "fields",
        base=base,
        text=text,
        groups=product_fields(base),
        typed=typed or {},
        errors=errors or [],
        wrong={one["key"]: one["words"] for one in errors or ()},
        other=since is not None,
        others=changes_between(since, base) if since else (),
    )


def _new(
    request: Request,
    *,
    name: str,
    text: str,
    copied: str,
    errors: list[dict[str, str]] | None = None,
    status: int = _WRONG,
) -> Response:
    return page(
        request,
        "plant/new.html.j2",
        status=status if errors else 200,
        product=name,
        text=text,
        copied=copied,
        products=[one["product"] for one in products_of(desk_of(request).root)],
        errors=errors or [],
    )


def _text(request: Request, product: str) -> str:
    """The text of a product's file.

    Raises:
        HTTPException: 404 when there is none.
    """
    from wideroll.acts.products import product_digest, product_text  # noqa: PLC0415

    root = desk_of(request).root
    try:
        if product_digest(root, product):
            return product_text(root, product)
    except InputError as error:
        if error.where != "name":
            raise
    raise HTTPException(404, f"there is no product {product[:80]}")


def _may(request: Request) -> bool:
    person = person_of(request)
    return person is not None and (person.may("decide") or person.may("administer"))


def _wrong(error: InputError) -> dict[str, str]:
    value = "" if error.value is None else f" (got {error.value})"
    return {"field": error.where, "words": f"{error.rule[:1].upper()}{error.rule[1:]}{value}. {error.mend}", "key": ""}


def _words(error: InputError, text: str) -> str:
    from wideroll.acts.product_fields import product_fields  # noqa: PLC0415

    named = {field.key: f"{group.name}, {field.label}" for group in product_fields(text) for field in group.fields}
    value = "" if error.value is None else f" Got {error.value}."
    return f"{named.get(error.where, 'The file')}: {error.rule}.{value} {error.mend}"


def _first(form: dict[str, list[str]], key: str) -> str:
    return next(iter(form.get(key, ())), "")


def _plain(form: dict[str, list[str]], key: str) -> str:
    """A text with the ends of lines that it had before the browser sent it."""
    return _first(form, key).replace("\r\n", "\n")


def _csv(text: str) -> Response:
    return PlainTextResponse(text, media_type="text/csv; charset=utf-8")
