"""The zones of the line: where along it a roller stands, and what the emulsion is there."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, Literal

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, Name, each_once
from wideroll.repeats import Stage

__all__ = ["ZoneTable", "check_zones", "stage_of"]

_ORDER: Final = tuple(Stage)


class ZoneTable(FileModel):
    """``[[zones]]`` in plant.toml, in the order in which the web passes them."""

    name: Name
    stage: Literal["before coating", "coating to drying", "after drying"]


def check_zones(zones: Sequence[ZoneTable]) -> None:
    """Refuse zones of one name, and zones that run backwards.

    Raises:
        ArgumentError: naming the zone.
    """
    each_once("zones", (zone.name for zone in zones))
    for before, zone in pairwise(zones):
        if _ORDER.index(Stage(zone.stage)) < _ORDER.index(Stage(before.stage)):
            raise ArgumentError(
                where=f"zone {zone.name}, stage",
                rule=f"zones stand in the order the web passes them; {before.name} before it is {before.stage}",
                value=zone.stage,
                mend="Put the zones in order, or correct the stage.",
            )


def stage_of(roller: str, zone: str, zones: Sequence[ZoneTable]) -> Stage | None:
    """The stage of a roller's zone; None where the plant lists no zones.

    Raises:
        ArgumentError: when zones are listed and the roller's isn't among them.
    """
    if not zones:
        return None
    for one in zones:
        if one.name == zone:
            return Stage(one.stage)
    known = ", ".join(one.name for one in zones)
    raise ArgumentError(
        where=f"roller {roller}, zone",
        rule=f"must be one of the zones: {known}",
        value=zone,
        mend="Correct it, or add the zone.",
    )
