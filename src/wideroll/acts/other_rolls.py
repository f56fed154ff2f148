"""What the kept scans of a plant's other rolls say about the scanner that they share."""

from collections.abc import Iterator
from dataclasses import dataclass

from wideroll import __version__
from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.scan import LinePlaces, StreakOrigin
from wideroll.store import InputHashes, ResultsFolder, fingerprint
from wideroll.store.scan_files import SCAN_VERSION, ScanCard
from wideroll.workflow import OtherScan

__all__ = ["OtherRolls", "scan_fingerprint"]

_CARD = "state/scan"


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherRolls:
    """All rolls of a plant but one."""

    files: PlantFolder
    roll: str

    def by(self, scanner: str) -> tuple[OtherScan, ...]:
        """Their scans by a scanner that are kept and not stale, in the order of the rolls' names."""
        return tuple(self._by(scanner))

    def compared(self, mine: str) -> dict[str, str]:
        """The scans that tell this roll's undecided streaks apart: the fingerprint of each, by the roll's name.

        Args:
            mine: fingerprint of this roll's own scan; none are compared while it isn't kept.
        """
        card = _card(ResultsFolder(self.files.root / "results" / self.roll), mine)
        if card is None or all(streak.origin is not StreakOrigin.UNDECIDED for streak in card.streaks):
            return {}
        return {other.roll: other.fingerprint for other in self.by(card.settings.source)}

    def _by(self, scanner: str) -> Iterator[OtherScan]:
        for roll in self.files.rolls():
            results = ResultsFolder(self.files.root / "results" / roll)
            if roll == self.roll or not (results.path / f"{_CARD}.json").is_file():
                continue
            try:
                mark = scan_fingerprint(self.files, roll)
            except InputError:  # a fault of another roll's is told when that roll is worked on
                continue
            card = _card(results, mark)
            if card is not None and card.settings.source == scanner:
                yield _other(roll, mark, card)


def scan_fingerprint(files: PlantFolder, roll: str) -> str:
    """Of all that a roll's scan is computed from.

    Args:
        files: the plant's.
        roll: its name.

    Raises:
        InputError: when a file of it can't be read.
    """
    hashes = InputHashes(root=files.root, cache=files.root / "results" / roll / "inputs.json")
    return fingerprint({"version": __version__, **hashes.of(files.scan_inputs(roll))})


def _card(results: ResultsFolder, mark: str) -> ScanCard | None:
    card = results.load(_CARD, ScanCard, mark)
    return card if card is not None and card.version == SCAN_VERSION else None


def _other(roll: str, mark: str, card: ScanCard) -> OtherScan:
    places = card.places or LinePlaces.steady(card.pitch_mm[0])
    return OtherScan(
        roll=roll,
        fingerprint=mark,
        streaks=card.streaks,
        length_m=places.along_m(float(card.lines)),
        columns=card.columns,
        pitch_mm=card.pitch_mm,
        streak_snr=card.settings.streak_snr,
    )
