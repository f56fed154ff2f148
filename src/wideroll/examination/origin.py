"""Whether a mark came with the coating or by handling the sheet."""

from wideroll.examination.model import Origin, OriginFinding, Sighting

__all__ = ["counts_against_film", "find_origin"]


def find_origin(sighting: Sighting, *, seen_by_scanner: bool | None) -> OriginFinding:
    """Origin from what the examiner felt and from whether the scanner saw something at that place.

    Embedded, or in the scan: it was on the web. Wipes off, or lies on top where the scanner saw nothing: it came later
    (common practice). Signs that point both ways, or none that point anywhere, leave it undecided, and undecided counts
    against the film. That the scanner saw nothing proves little by itself, because it misses small and faint marks.

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
    if later and (sighting.wipes_off or seen_by_scanner is False):
        unseen = ["the scanner saw nothing there"] if seen_by_scanner is False else []
        return OriginFinding(origin=Origin.HANDLING, why=", and ".join([" and ".join(later), *unseen]))
    if later:
        return OriginFinding(
            origin=Origin.UNDECIDED, why="it lies on top, but whether it was there at coating nobody can say: no scan"
        )
    if seen_by_scanner is False:
        return OriginFinding(
            origin=Origin.UNDECIDED,
            why="the scanner saw nothing there, but it misses small marks; nothing else is said",
        )
    return OriginFinding(origin=Origin.UNDECIDED, why="nothing that would tell was noted")


def counts_against_film(finding: OriginFinding) -> bool:
    """Whether the mark is held against the film: all are, but those that came by handling.

    Example:
        >>> counts_against_film(OriginFinding(origin=Origin.UNDECIDED, why="nothing was said"))
        True
    """
    return finding.origin is not Origin.HANDLING


def _said(*signs: tuple[bool, str]) -> list[str]:
    return [words for holds, words in signs if holds]
