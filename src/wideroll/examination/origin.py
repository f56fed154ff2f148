"""Whether a mark came with the coating or by handling the sheet."""

from typing import Final

from wideroll.examination.model import Origin, OriginFinding, Sighting
from wideroll.roll import MarkKind

__all__ = ["counts_against_film", "find_origin"]

_DIRT: Final = frozenset({MarkKind.SPOT, MarkKind.OTHER})


def find_origin(sighting: Sighting, *, seen_by_scanner: bool | None) -> OriginFinding:
    """Origin from what the examiner felt and from whether the scanner saw something at that place.

    Embedded, or in the scan: it was on the web. Dirt that wipes off, where the scanner saw nothing or didn't look: it
    came later (common practice). Only dirt comes off so: a hole, a streak or fog is never put down to handling, and
    neither is dirt that merely lies on top. Signs that point both ways, or none that point anywhere, leave it
    undecided, and undecided counts against the film. That the scanner saw nothing proves little by itself, because it
    misses small and faint marks.

    Args:
        sighting: what the examiner saw.
        seen_by_scanner: True or False where the scanner looked at that place, None where it didn't.

    Example:
        >>> from wideroll.roll import MarkKind, Place
        >>> dust = Sighting(
        ...     sheet="A1",
        ...     kind=MarkKind.SPOT,
        ...     place=Place(along_m=3.0, across_mm=238.1),
        ...     size_mm=0.4,
        ...     through={},
        ...     wipes_off=True,
        ... )
        >>> find_origin(dust, seen_by_scanner=False).why
        'it wipes off, and the scanner saw nothing there'
    """
    web = _said((sighting.embedded is True, "it is embedded"), (seen_by_scanner is True, "the scanner saw it there"))
    later = _said((sighting.wipes_off is True, "it wipes off"), (sighting.embedded is False, "it lies on top"))
    if web and later:
        return OriginFinding(origin=Origin.UNDECIDED, why=f"{' and '.join(web)}, yet {' and '.join(later)}")
    if web:
        return OriginFinding(origin=Origin.WEB, why=" and ".join(web))
    if later:
        return _came_later(sighting, " and ".join(later), seen_by_scanner=seen_by_scanner)
    if seen_by_scanner is False:
        return OriginFinding(
            origin=Origin.UNDECIDED,
            why="the scanner saw nothing there, but it misses small marks; nothing else is said",
        )
    return OriginFinding(origin=Origin.UNDECIDED, why="nothing that would tell was noted")


def _came_later(sighting: Sighting, said: str, *, seen_by_scanner: bool | None) -> OriginFinding:
    if sighting.kind not in _DIRT:
        return OriginFinding(origin=Origin.UNDECIDED, why=f"{said}, but a {sighting.kind} isn't dirt")
    if not sighting.wipes_off:
        return OriginFinding(origin=Origin.UNDECIDED, why=f"{said}, but nobody says that it wipes off")
    unseen = ", and the scanner saw nothing there" if seen_by_scanner is False else ""
    return OriginFinding(origin=Origin.HANDLING, why=f"{said}{unseen}")


def counts_against_film(finding: OriginFinding) -> bool:
    """Whether the mark is held against the film: all are, but those that came by handling.

    Example:
        >>> counts_against_film(OriginFinding(origin=Origin.UNDECIDED, why="nothing was said"))
        True
    """
    return finding.origin is not Origin.HANDLING


def _said(*signs: tuple[bool, str]) -> list[str]:
    return [words for holds, words in signs if holds]
