"""Taking a roll of a plant in hand: its files, its results and their fingerprints."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from wideroll import __version__
from wideroll.acts.other_rolls import OtherRolls
from wideroll.acts.telling import progress, tell
from wideroll.errors import ArgumentError, InputError
from wideroll.readers import PlantFolder
from wideroll.readers.raster_zarr import ZARR_ENDING
from wideroll.repeats import SEARCH_REVISION
from wideroll.slitting import Order
from wideroll.store import InputHashes, ResultsFolder, fingerprint, hash_file, remembered_hashes
from wideroll.workflow import Plant, Product, RollCard, RollDesk, check_widths, cleaned_before, open_roll

__all__ = ["RollInHand", "take_in_hand", "tell_damage"]

_TABLES: Final = {".toml", ".csv"}


@dataclass(frozen=True, slots=True, kw_only=True)
class RollInHand:
    """A roll ready for work, and where its results go."""

    root: Path
    desk: RollDesk
    results: ResultsFolder
    inputs: dict[str, str]
    """Hash of each file that a decision depends on."""
    digests: dict[str, str]
    """SHA-256 of the same files, for the record."""
    orders: tuple[Order, ...]
    """What finishing needs of the roll's product; no part of the decision."""
    others: OtherRolls

    @property
    def fingerprint(self) -> str:
        """Of all inputs and the version together, and of what is kept that a decision also rests on, as it is now."""
        kept = {f"scan of {roll}": mark for roll, mark in self.compared_with.items()}
        if self.desk.detection() is not None:
            kept["detection"] = hash_file(self.results.path / "state" / "detection.json")
        kept |= {f"cleaning of {roller}": on for roller, on in self.cleaned_before.items()}
        kept["search for repeats"] = str(SEARCH_REVISION)
        return fingerprint({"version": __version__, **self.inputs, **kept})

    @property
    def compared_with(self) -> dict[str, str]:
        """Other rolls whose scans tell the scanner's own streaks from the web's, with the fingerprint of each."""
        return self.others.compared(self.desk.fingerprints["scan"])

    @property
    def cleaned_before(self) -> dict[str, str]:
        """Last cleaning of each roller before the roll was coated: a later one changes nothing for it."""
        return {roller: one.on.text for roller, one in cleaned_before(self.desk.plant, self.desk.card).items()}


def take_in_hand(plant: Path, roll: str) -> RollInHand:
    """Open a roll of a plant.

    Args:
        plant: its folder.
        roll: its name.

    Raises:
        InputError: when the folder isn't a plant, or a file has a fault.
    """
    _check_is_plant(plant)
    files = PlantFolder(plant)
    # What the roll is comes first: a fault in a small file shouldn't wait until a large scan is hashed.
    line, card = files.plant(), files.card(roll)
    product = files.product(card.product)
    _check_widths(plant, product, line)
    results = ResultsFolder(plant / "results" / roll)
    hashes = InputHashes(root=plant, cache=results.path / "inputs.json")
    both = hashes.both(files.inputs(roll, card.product))
    inputs = {name: one.hash for name, one in both.items()}
    scan = {name: inputs[name] for name in hashes.names(files.scan_inputs(roll))}
    _check_no_copies(plant, scan)
    _check_not_of_another_roll(plant, roll, scan)
    searched = _searched(inputs, card, product)
    stages = {
        "scan": fingerprint({"version": __version__, **scan}),
        "repeats": fingerprint({"version": __version__, **scan, **searched}),
    }
    others = OtherRolls(files=files, roll=roll)
    desk = open_roll(
        card,
        plant=line,
        product=product,
        files=files,
        results=results,
        fingerprints=stages,
        progress=progress(),
        others=others,
    )
    return RollInHand(
        root=plant,
        desk=desk,
        results=results,
        inputs=inputs,
        digests={name: one.sha256 for name, one in both.items()},
        orders=files.orders(card.product),
        others=others,
    )


def _check_is_plant(plant: Path) -> None:
    if not (plant / "plant.toml").is_file():
        raise InputError(
            where=str(plant),
            rule="a plant's folder holds a plant.toml",
            mend="Give the plant's folder; `wideroll demo DIR` makes an invented one to look at.",
        )


def _check_widths(plant: Path, product: Product, line: Plant) -> None:
    try:
        check_widths(product, line)
    except ArgumentError as error:
        file = plant / "products" / f"{product.name}.toml"
        raise InputError(where=f"{file}, {error.where}", rule=error.rule, value=error.value, mend=error.mend) from error


def _searched(inputs: dict[str, str], card: RollCard, product: Product) -> dict[str, str]:
    """What a search for repeats depends on besides the scan."""
    return {
        "plant.toml": inputs["plant.toml"],
        "length": f"{card.length_m!r}",
        "winding": f"{product.winding!r}",
        "revision": str(SEARCH_REVISION),
    }


def _check_no_copies(plant: Path, scan: dict[str, str]) -> None:
    """Two segments of a scan never hold the same pixels: one of them was copied."""
    first: dict[str, str] = {}
    for name, content in _segments(scan).items():
        if content in first:
            raise InputError(
                where=str(plant / name),
                rule=f"each segment holds its own part of the web; {Path(first[content]).name} is the same file",
                mend="Copy the segment from the scanner again, or take it out of scan.toml.",
            )
        first[content] = name


def _segments(files: dict[str, str]) -> dict[str, str]:
    """Hash of each segment by its name; a Zarr folder is one, and tables beside the segments are none."""
    found: dict[str, str] = {}
    folders: dict[str, dict[str, str]] = {}
    for name, content in files.items():
        path = Path(name)
        zarr = next((parent for parent in path.parents if parent.suffix.lower() == ZARR_ENDING), None)
        if zarr is not None:
            folders.setdefault(zarr.as_posix(), {})[path.relative_to(zarr).as_posix()] = content
        elif path.suffix.lower() not in _TABLES:
            found[name] = content
    return found | {name: fingerprint(inside) for name, inside in folders.items()}


def _check_not_of_another_roll(plant: Path, roll: str, scan: dict[str, str]) -> None:
    """A segment that another roll's results were made from, and that still lies there, belongs to that roll."""
    for memory in sorted((plant / "results").glob("*/inputs.json")):
        if memory.parent.name == roll:
            continue
        known = remembered_hashes(memory).items()
        there = {name: content for name, content in known if "/scan/" in name and (plant / name).is_file()}
        theirs = {content: name for name, content in _segments(there).items()}
        for name, content in _segments(scan).items():
            if content in theirs:
                raise InputError(
                    where=str(plant / name),
                    rule=f"a segment belongs to one roll; {theirs[content]} is the same file",
                    mend="Copy this roll's own segment from the scanner.",
                )


def tell_damage(hand: RollInHand) -> None:
    """Say which kept results were damaged and therefore made anew.

    Args:
        hand: the roll, after its work.
    """
    for damage in dict.fromkeys(hand.results.damage):
        tell(f"{hand.results.path / damage.file} was damaged ({damage.why}); it was made anew.")
