"""What to sample next: stretches of web, what each would tell, and where each candidate predicts its marks."""

from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from wideroll.errors import ArgumentError
from wideroll.repeats.model import SeriesSettings

__all__ = ["NextSamples", "PredictedMark", "Prediction", "SampleChoice", "SampleSettings", "Separation"]


class Separation(StrEnum):
    """Whether more samples can tell the candidates apart."""

    ADVISED = "sample the stretch advised"
    NAMED = "one candidate is named already"
    TIED = "no stretch tells the candidates apart"
    NONE = "no roller was compared"


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleSettings:
    """What samples are tried, and how.

    Raises:
        ArgumentError: no length, a length that isn't greater than 0, a seed below 0, fewer than 2 made-up samples.
    """

    lengths_m: tuple[float, ...] = (0.5, 1.0, 2.0, 3.0, 6.0)
    seed: int = 0
    """Of the made-up samples; the same seed gives the same answer."""
    quick: int = 64
    """Samples made up to compare places."""
    final: int = 600
    """Samples made up, anew, to judge the best place of each length."""

    def __post_init__(self) -> None:
        """Refuse what can't be tried."""
        rules = (
            (
                "lengths_m",
                bool(self.lengths_m) and all(isfinite(one) and one > 0.0 for one in self.lengths_m),
                "must be lengths greater than 0",
            ),
            ("seed", self.seed >= 0, "must be 0 or more"),
            ("quick", self.quick > 1, "must be at least 2"),
            ("final", self.final > 1, "must be at least 2"),
        )
        for name, good, rule in rules:
            if not good:
                raise ArgumentError(where=name, rule=rule, value=getattr(self, name), mend="Mend the setting.")


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedMark:
    """Where a turn would print."""

    turn: int
    """Counted as the candidate's own: turn 0 is its first on the roll."""
    along_m: float
    low_m: float
    high_m: float
    """Limits that hold 95 % of such prints."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction:
    """What one candidate predicts for a stretch."""

    roller: str
    probability: float
    spacing_m: float
    spacing_low_m: float
    spacing_high_m: float
    print_probability: float
    phase_known: bool
    """False where so many turns lie between that only the distances between marks are predicted, not their places."""
    marks: tuple[PredictedMark, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleChoice:
    """A stretch that can be sampled, and what it would tell."""

    from_m: float
    to_m: float
    information_bits: float
    """Expected information on which candidate it is: what the uncertainty falls by, on average."""
    error_bits: float
    """Standard error of it, as it is simulated."""
    expected_probability: float
    """That the candidate likeliest afterwards is the right one."""
    predictions: tuple[Prediction, ...]
    """The likeliest candidate first."""

    @property
    def length_m(self) -> float:
        """Length of the stretch."""
        return self.to_m - self.from_m


@dataclass(frozen=True, slots=True, kw_only=True)
class NextSamples:
    """Stretches to sample, and what was weighed."""

    separation: Separation
    candidates: tuple[tuple[str, float], ...]
    """Those told apart, with probabilities that sum to 1; the likeliest first."""
    uncertainty_bits: float
    """Entropy of their probabilities: no sample can tell more."""
    choices: tuple[SampleChoice, ...]
    """The best place for each length, most information first."""
    least_m: float | None
    """The shortest of these lengths that tells 90 % of the most; None where nothing is advised."""
    across_mm: float
    spacing_m: float
    can_sample: tuple[tuple[float, float], ...]
    """The stretches tried, without web that was looked at already."""
    tried: SampleSettings
    settings: SeriesSettings

    @property
    def choice(self) -> SampleChoice | None:
        """The stretch that tells most, None where nothing is advised."""
        return self.choices[0] if self.choices and self.separation is Separation.ADVISED else None

    @property
    def shortest(self) -> SampleChoice | None:
        """The shortest stretch that tells 90 % of the most, None where nothing is advised."""
        if self.choice is None or self.least_m is None:
            return None
        return min(self.choices, key=lambda one: abs(one.length_m - (self.least_m or 0.0)))
