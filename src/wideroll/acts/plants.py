"""The files of a plant, from its folder."""

from pathlib import Path

from wideroll.errors import InputError
from wideroll.readers import PlantFolder

__all__ = ["plant_files"]


def plant_files(plant: Path) -> PlantFolder:
    """The files of a plant.

    Args:
        plant: its folder.

    Raises:
        InputError: when the folder isn't one.
    """
    if not (plant / "plant.toml").is_file():
        raise InputError(where=str(plant), rule="a plant's folder holds a plant.toml", mend="Give the plant's folder.")
    return PlantFolder(plant)
