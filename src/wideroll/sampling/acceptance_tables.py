"""Numbers of ISO 2859-1:1999, and which of them were seen in a text.

Table 1 and, of Table 2-A (single sampling, normal inspection), the letters C to N at the limits 0.65 to 6.5 were seen
in a transcription of the identical IS 2500-1:2000. The letters A, B, P, Q, R of Table 2-A and all of Table 2-B
(tightened) are from memory: check them against your own copy. What isn't here isn't guessed.
"""

from typing import Final

__all__ = [
    "LETTERS",
    "LEVELS",
    "LIMITS",
    "LOT_SIZES",
    "NORMAL",
    "NOT_KNOWN",
    "SAMPLE_SIZES",
    "SEEN_LETTERS",
    "TIGHTENED",
]

LETTERS: Final = tuple("ABCDEFGHJKLMNPQR")
SEEN_LETTERS: Final = frozenset("CDEFGHJKLMN")
SAMPLE_SIZES: Final = dict(
    zip(LETTERS, (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000), strict=True)
)
LIMITS: Final = (0.65, 1.0, 1.5, 2.5, 4.0, 6.5)
"""Acceptance quality limits, in per cent nonconforming."""
LEVELS: Final = ("S-1", "S-2", "S-3", "S-4", "I", "II", "III")
LOT_SIZES: Final[tuple[tuple[int, str], ...]] = (
    (2, "AAAAAAB"),
    (9, "AAAAABC"),
    (16, "AABBBCD"),
    (26, "ABBCCDE"),
    (51, "BBCCCEF"),
    (91, "BBCDDFG"),
    (151, "BCDEEGH"),
    (281, "BCDEFHJ"),
    (501, "CCEFGJK"),
    (1201, "CDEGHKL"),
    (3201, "CDFGJLM"),
    (10001, "CDFHKMN"),
    (35001, "DEGJLNP"),
    (150001, "DEGJMPQ"),
    (500001, "DEHKNQR"),
)
"""Least lot size of each row of Table 1, and the letter at each level."""
NOT_KNOWN: Final = "?"
NORMAL: Final[dict[str, tuple[str, ...]]] = {
    "A": ("v", "v", "v", "v", "v", "0"),
    "B": ("v", "v", "v", "v", "0", "^"),
    "C": ("v", "v", "v", "0", "^", "v"),
    "D": ("v", "v", "0", "^", "v", "1"),
    "E": ("v", "0", "^", "v", "1", "2"),
    "F": ("0", "^", "v", "1", "2", "3"),
    "G": ("^", "v", "1", "2", "3", "5"),
    "H": ("v", "1", "2", "3", "5", "7"),
    "J": ("1", "2", "3", "5", "7", "10"),
    "K": ("2", "3", "5", "7", "10", "14"),
    "L": ("3", "5", "7", "10", "14", "21"),
    "M": ("5", "7", "10", "14", "21", "^"),
    "N": ("7", "10", "14", "21", "^", "^"),
    "P": ("10", "14", "21", "^", "^", "^"),
    "Q": ("14", "21", "^", "^", "^", "^"),
    "R": ("21", "^", "^", "^", "^", "^"),
}
"""Acceptance numbers at each limit; v and ^: use the first plan below or above. The rejection number is one more."""
TIGHTENED: Final[dict[str, tuple[str, ...]]] = {
    "A": ("v", "v", "v", "v", "v", "v"),
    "B": ("v", "v", "v", "v", "v", "0"),
    "C": ("v", "v", "v", "v", "0", "?"),
    "D": ("v", "v", "v", "0", "?", "?"),
    "E": ("v", "v", "0", "?", "?", "1"),
    "F": ("v", "0", "?", "?", "1", "2"),
    "G": ("0", "?", "?", "1", "2", "3"),
    "H": ("?", "?", "1", "2", "3", "5"),
    "J": ("?", "1", "2", "3", "5", "8"),
    "K": ("1", "2", "3", "5", "8", "12"),
    "L": ("2", "3", "5", "8", "12", "18"),
    "M": ("3", "5", "8", "12", "18", "^"),
    "N": ("5", "8", "12", "18", "^", "^"),
    "P": ("8", "12", "18", "^", "^", "^"),
    "Q": ("12", "18", "^", "^", "^", "^"),
    "R": ("18", "^", "^", "^", "^", "^"),
}
