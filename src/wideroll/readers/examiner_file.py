"""examiners.toml of a plant: how often the answers of each examiner are wrong, as repeated blind sheets have shown."""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator

from wideroll.examination import Reliability
from wideroll.readers.fields import FileModel, Name, each_once
from wideroll.readers.toml_files import placed, read_toml

__all__ = ["ExaminerTable", "ExaminersFile", "read_examiners"]

_USUAL = Reliability()
_Share = Annotated[float, Field(gt=0, lt=0.5, allow_inf_nan=False, strict=True)]


class ExaminerTable(FileModel):
    """``[[examiners]]`` in examiners.toml: shares of answers that are wrong."""

    name: Name
    filters: _Share = _USUAL.filters
    touch: _Share = _USUAL.touch
    sections: _Share = _USUAL.sections


class ExaminersFile(FileModel):
    """examiners.toml."""

    examiners: tuple[ExaminerTable, ...] = ()

    @model_validator(mode="after")
    def _names_once(self) -> "ExaminersFile":
        each_once("examiners", (one.name for one in self.examiners))
        return self


def read_examiners(path: Path) -> Mapping[str, Reliability]:
    """Reliability by the examiner's name; empty without the file.

    Raises:
        InputError: naming the field.
    """
    if not path.is_file():
        return {}
    with placed(path):
        file = read_toml(path, ExaminersFile)
    return {
        one.name: Reliability(filters=one.filters, touch=one.touch, sections=one.sections) for one in file.examiners
    }
