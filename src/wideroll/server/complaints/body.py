"""What a program sends to open a case or take a step: JSON, or the fields of the page's form with photographs."""

from collections.abc import Collection
from typing import Annotated, Any, Final, Literal

from fastapi import Depends, Request
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from wideroll.errors import InputError
from wideroll.server.complaints.sent import MOST_PHOTOS, Sent, SentForm, form_sent
from wideroll.server.complaints.steps import STEPS
from wideroll.server.errors import MisaskedError

__all__ = ["OPENING", "STEPPING", "OpeningSent", "Step", "StepSent"]

Step = Literal["add", "ask", "look", "find", "close", "reopen"]
"""Those of ``STEPS``."""
_FORMS: Final = ("multipart/form-data", "application/x-www-form-urlencoded")
_MEND: Final = "Mend it and send it again."
_Line = Annotated[str, Field(max_length=400)]


class _Opening(BaseModel):
    """A case to be opened."""

    model_config = ConfigDict(extra="forbid")

    finished: str = Field(default="", max_length=400, description="Number of the finished roll.")
    saw: str = Field(default="", max_length=8000, description="What the customer saw.")
    place: str = Field(default="", max_length=400, description="Such as 4.3 m from core; else the whole roll.")
    end: str = Field(default="", max_length=20, description="outer end or core, where place doesn't say it.")
    reference: str = Field(default="", max_length=400, description="The customer's number.")
    untraced: bool = Field(default=False, description="The finished roll isn't known here.")


class _Step(BaseModel):
    """What is said with a step; each step takes some of it."""

    model_config = ConfigDict(extra="forbid")

    saw: str = Field(default="", max_length=8000, description="Of add and look.")
    place: str = Field(default="", max_length=400, description="Of add.")
    end: str = Field(default="", max_length=20, description="Of add, where place doesn't say it.")
    samples: list[_Line] = Field(default=[], max_length=20, description="Of ask.")
    sample: str = Field(default="", max_length=400, description="Of look.")
    there: bool = Field(default=True, description="Of look; false where the sample isn't there any more.")
    finding: Literal["", "ours", "handling", "camera", "lab", "unknown"] = Field(default="", description="Of find.")
    why: str = Field(default="", max_length=8000, description="Of find and reopen.")
    looked_at: list[Literal["trace", "photograph", "sample"]] = Field(
        default=[], max_length=3, description="Of find: what it rests on."
    )
    outcome: str = Field(default="", max_length=8000, description="Of close.")


async def _opening(request: Request) -> Sent:
    return await _sent(request, _Opening, _Opening.model_fields)


async def _step(request: Request) -> Sent:
    step = STEPS.get(request.path_params.get("step", ""))
    fields = step.fields if step is not None else ()
    return await _sent(request, _Step, {*fields, *(("end",) if "place" in fields else ())})


OpeningSent = Annotated[Sent, Depends(_opening)]
StepSent = Annotated[Sent, Depends(_step)]


def _described(model: type[BaseModel]) -> dict[str, Any]:
    """The body for the description of the API."""
    said = model.model_json_schema()
    photos = {"type": "array", "maxItems": MOST_PHOTOS, "items": {"type": "string", "format": "binary"}}
    texts = {name: {"type": "string"} for name in said["properties"]}
    form = {"type": "object", "properties": {**texts, "photos": photos}}
    content = {"application/json": {"schema": said}, _FORMS[0]: {"schema": form}}
    return {"requestBody": {"required": True, "content": content}}


OPENING: Final = _described(_Opening)
STEPPING: Final = _described(_Step)


async def _sent(request: Request, model: type[BaseModel], takes: Collection[str]) -> Sent:
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() in _FORMS:
        return await form_sent(request)
    try:
        body = model.model_validate_json(await request.body())
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(one) for one in first["loc"]) or "body"
        raise MisaskedError(InputError(where=where, rule=first["msg"], mend=_MEND)) from error
    for name in sorted(body.model_fields_set - set(takes)):
        raise MisaskedError(InputError(where=name, rule="this step doesn't take it", mend=f"Leave {name} out."))
    said = body.model_dump()
    looked_at = said.pop("looked_at", [])
    said["samples"] = "\n".join(said.get("samples", ()))
    said |= {"untraced": "yes" if said.get("untraced") else "", "there": "" if said.get("there", True) else "no"}
    return Sent(form=SentForm(**said), looked_at=looked_at, photos=[])
