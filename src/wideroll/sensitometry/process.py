"""The day's process: judged by the reference strips of its run, and taken off the check strips.

The shift is a function of log H, so it follows the level of exposure. It is taken from the reference film's curve less
its aim's, both fitted by the same family, and interpolated linearly in log H. Beyond the reference's readings it isn't
known, and check readings there aren't used. That is right when the reference film is of the same kind as the film under
test (common practice); where the two differ in speed by dx, what is left is dx times the slope of the shift.

The reference's curve is its free fit, not its aim laid over it: a process may change the shape, and the run must be
judged by that too. A corrected strip loses next to nothing by it, since laying the aim over the strip leaves out what
the free fit knows badly of the shift, its shape; that is stated in the covariance.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.sensitometry.deviations import fit_aims
from wideroll.sensitometry.intervals import scheffe_factor
from wideroll.sensitometry.model import Aims, Curve, CurveFit, Floats, Record, RunVerdict, Strip
from wideroll.sensitometry.richards import density_of, jacobian_of
from wideroll.sensitometry.strip_dyes import strip_dye_shift
from wideroll.sensitometry.strips import fit_strip

__all__ = ["correct_strip", "judge_run"]

_SURE: Final = 0.999
_SLACK_LOG_H: Final = 0.02
"""Exposures are written to hundredths or thousandths: an end that differs by less is the same step."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shift:
    curve: Curve
    covariance: Floats
    calibration: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Read:
    strip: Strip
    fits: Mapping[Record, CurveFit]
    alone: Mapping[Record, CurveFit]
    """The same curves, with the errors of the readings' own noise only."""


def judge_run(
    run: str,
    reference_strips: Sequence[Strip],
    check_strips: Sequence[Strip],
    reference_aims: Aims,
    limit_density: float,
    *,
    charted: str = "",
) -> RunVerdict:
    """Whether a process run can be believed.

    The mean deviation of its reference strips from the reference film's aims is taken at every step read; the run is
    void when the chart of its processor rules it out, when the largest deviation exceeds ``limit_density`` in any
    record, when two reference strips contradict one another, when it holds no reference strip, or when none of
    them can be read. The check strips of a void run are to be repeated: the film isn't at fault.

    Args:
        run: name of the run.
        reference_strips: reference strips of the run.
        check_strips: check strips of the run.
        reference_aims: aims of the reference film.
        limit_density: greatest absolute deviation allowed.
        charted: why the control chart of the processor it ran through rules it out; empty when it doesn't.

    Raises:
        ArgumentError: when the limit isn't positive, a strip belongs to another run, or an aim can't be fitted.

    Example:
        >>> from wideroll.sensitometry import FilmType, StripKind
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> aim = 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (x + 1.2)))
        >>> curves = {Record.VISUAL: Curve(log_h=x, density=aim)}
        >>> aims = Aims(film_type=FilmType.BLACK_AND_WHITE, curves=curves, tolerance_density=0.05)
        >>> density = {Record.VISUAL: aim + 0.1 + 0.004 * np.cos(40.0 * x)}
        >>> reference = Strip(name="R1", kind=StripKind.REFERENCE, run="7", log_h=x, density=density)
        >>> judge_run("7", [reference], [], aims, 0.2).usable, judge_run("7", [reference], [], aims, 0.05).usable
        (True, False)
    """
    _check_run(run, [*reference_strips, *check_strips], limit_density)
    names = tuple(strip.name for strip in reference_strips)
    if not reference_strips:
        return _void(run, names, check_strips, "no reference strip ran in it")
    aim_fits = fit_aims(reference_aims)
    read, doubts = _read(reference_strips, tuple(aim_fits))
    if not read:
        return _void(run, names, check_strips, "; ".join(doubts))
    shifts = {record: _shift(read, record, aim) for record, aim in aim_fits.items()}
    against = _disagreement(read, limit_density)
    why = "; ".join(part for part in (charted, _over(shifts, limit_density), against) if part)
    verdict = _void(run, names, check_strips, why)
    if not why:
        verdict = replace(verdict, usable=True, why="; ".join(doubts), void_strips=())
    dyes = reference_aims.dyes
    level_sd = max(one.strip.log_h_sd for one in read)
    return replace(
        verdict,
        dye_shift=None
        if dyes is None
        else strip_dye_shift([one.fits for one in read], aim_fits, dyes, log_h_sd=level_sd),
        shift_density={record: shift.curve for record, shift in shifts.items()},
        shift_covariance={record: shift.covariance for record, shift in shifts.items()},
        calibration_covariance={record: shift.calibration for record, shift in shifts.items()},
        read_by=frozenset(one.strip.read_by for one in read),
    )


def _read(reference_strips: Sequence[Strip], records: tuple[Record, ...]) -> tuple[list[_Read], list[str]]:
    """The reference strips that can be used, fitted, and why the others can't.

    The level of exposure is left out of their errors: check strips share it, see ``correct_strip``.
    """
    read: list[_Read] = []
    doubts: list[str] = []
    for strip in reference_strips:
        fits, why = fit_strip(replace(strip, log_h_sd=0.0), records)
        if why:
            doubts.append(f"reference strip {strip.name} can't be used: {why}")
            continue
        alone = fits
        if strip.shared_covariance:
            alone, _ = fit_strip(replace(strip, log_h_sd=0.0, shared_covariance={}), records)
        read.append(_Read(strip=strip, fits=fits, alone=alone))
    return read, doubts


def correct_strip(strip: Strip, run_verdict: RunVerdict) -> Strip:
    """The strip as the process on aim would have left it, and the covariance of what was taken off.

    Readings at exposures where no reference strip was read come back as not read: what the process did there isn't
    known.

    What check and reference share falls out of it: the level of exposure of the sensitometer that exposed both, and the
    densitometer's calibration where one read both. Where not, the covariances of both calibrations are added.

    Raises:
        ArgumentError: when the run is void, isn't the strip's, or its reference wasn't read in a record of the strip.

    Example:
        >>> from wideroll.sensitometry import StripKind
        >>> x = np.linspace(-3.0, 0.0, 21)
        >>> check = Strip(name="1", kind=StripKind.CHECK, run="7", log_h=x, density={Record.VISUAL: x + 3.5})
        >>> shift = {Record.VISUAL: Curve(log_h=x, density=np.full(21, 0.5))}
        >>> run = RunVerdict(
        ...     run="7", usable=True, why="", reference_strips=("R1",), void_strips=(), shift_density=shift
        ... )
        >>> bool(np.allclose(correct_strip(check, run).density[Record.VISUAL], x + 3.0))
        True
    """
    if not run_verdict.usable or strip.run != run_verdict.run:
        raise ArgumentError(
            where=f"strip {strip.name}",
            rule="is corrected by its own, usable process run",
            value=f"{run_verdict.run}: {run_verdict.why or 'another run'}",
            mend="Repeat the strip in a run whose reference strips are within limits.",
        )
    missing = [record for record in strip.density if record not in run_verdict.shift_density]
    if missing:
        raise ArgumentError(
            where=f"strip {strip.name}",
            rule="each record read has a reference",
            value=", ".join(missing),
            mend="Give the reference film an aim in that record, or leave the record out.",
        )
    density: dict[Record, Floats] = {}
    covariance: dict[Record, Floats] = {}
    for record, readings in strip.density.items():
        shift = run_verdict.shift_density[record]
        density[record] = readings - _known_shift(strip.log_h, shift)
        if record in run_verdict.shift_covariance:
            weights = _weights(strip.log_h, shift.log_h)
            brought = run_verdict.shift_covariance[record]
            if run_verdict.read_by != {strip.read_by}:
                brought = brought + run_verdict.calibration_covariance.get(record, 0.0)
            covariance[record] = weights @ brought @ weights.T
        if run_verdict.read_by != {strip.read_by} and record in strip.shared_covariance:
            covariance[record] = covariance.get(record, 0.0) + strip.shared_covariance[record]
    return replace(strip, density=density, shared_covariance=covariance, log_h_sd=0.0)


def _shift(read: Sequence[_Read], record: Record, aim: CurveFit) -> _Shift:
    """Mean, at each step, of the reference curves read there, less the aim's where the aim is given.

    Nothing is said of steps that no reference strip reads. The fits are the same twice: with the readings' own noise
    alone, and with the calibration's error besides, which more strips don't average out.
    """
    steps = np.unique(np.concatenate([one.alone[record].log_h[one.alone[record].used] for one in read]))
    x = steps[(steps >= aim.log_h[0] - _SLACK_LOG_H) & (steps <= aim.log_h[-1] + _SLACK_LOG_H)]
    reach = np.array([_within(one.alone[record], x) for one in read])
    shares = reach / np.maximum(reach.sum(axis=0), 1)
    off = -density_of(aim.parameters, x)
    own, brought = np.zeros((len(x), len(x))), np.zeros((len(x), len(x)))
    for one, share in zip(read, shares, strict=True):
        bare, full = one.alone[record], one.fits[record]
        slopes = share[:, np.newaxis] * jacobian_of(bare.parameters, x)
        off += share * density_of(bare.parameters, x)
        own += slopes @ bare.covariance @ slopes.T
        brought += slopes @ (full.covariance - bare.covariance) @ slopes.T * len(read)
    return _Shift(curve=Curve(log_h=x, density=off), covariance=own, calibration=brought)


def _disagreement(read: Sequence[_Read], limit_density: float) -> str:
    """Why reference strips contradict one another; empty when they don't.

    Two do when their curves differ by more than half the process limit and by more than their noise explains anywhere
    at 0.1 % (Scheffé). Which of them is right nobody can say.
    """
    for one, other in itertools.combinations(read, 2):
        for record, fit in one.alone.items():
            twin = other.alone[record]
            x = fit.log_h[fit.used]
            x = x[_within(twin, x) > 0.0]
            if not len(x):
                continue
            off = density_of(fit.parameters, x) - density_of(twin.parameters, x)
            slopes = [jacobian_of(each.parameters, x) for each in (fit, twin)]
            variance = sum(
                np.einsum("ij,jk,ik->i", s, each.covariance, s) for s, each in zip(slopes, (fit, twin), strict=True)
            )
            freedom = min(fit.degrees_of_freedom, twin.degrees_of_freedom)
            explained = scheffe_factor(len(fit.parameters), freedom, _SURE) * np.sqrt(variance)
            worst = int(np.argmax(np.abs(off) - explained))
            if abs(off[worst]) > max(float(explained[worst]), limit_density / 2.0):
                return (
                    f"reference strips {one.strip.name} and {other.strip.name} contradict one another by "
                    f"{abs(off[worst]):.3f} density ({record})"
                )
    return ""


def _within(fit: CurveFit, x: Floats) -> Floats:
    """1 where the strip was read, at log H (m,), else 0."""
    first, last = fit.log_h_range
    return ((x >= first - _SLACK_LOG_H) & (x <= last + _SLACK_LOG_H)).astype(np.float64)


def _over(shifts: Mapping[Record, _Shift], limit_density: float) -> str:
    """Why the run is void: each record beyond the limit with its farthest departure; empty when none is."""
    blind = [record for record, shift in shifts.items() if not len(shift.curve.log_h)]
    if blind:
        return f"the reference strips' exposures lie outside the reference aims in {', '.join(blind)}"
    places = {record: int(np.argmax(np.abs(shift.curve.density))) for record, shift in shifts.items()}
    worst = {record: float(shifts[record].curve.density[place]) for record, place in places.items()}
    over = [f"{record} {_signed(off)}" for record, off in worst.items() if abs(off) > limit_density]
    if not over:
        return ""
    most = max(worst, key=lambda record: abs(worst[record]))
    at = f"{shifts[most].curve.log_h[places[most]]:.2f}".replace("-", "−")
    return f"reference strips lie more than {limit_density:g} density from aim, most at log H {at} ({', '.join(over)})"


def _known_shift(log_h: Floats, shift: Curve) -> Floats:
    """The shift at log H (n,); NaN where no reference strip says what it is, so that those readings aren't used."""
    known = np.interp(log_h, shift.log_h, shift.density)
    inside = (log_h >= shift.log_h[0] - _SLACK_LOG_H) & (log_h <= shift.log_h[-1] + _SLACK_LOG_H)
    return np.where(inside, known, np.nan)


def _signed(density: float) -> str:
    return f"{density:+.3f}".replace("-", "−")


def _weights(x: Floats, nodes: Floats) -> Floats:
    """Matrix (n, m) of linear interpolation from nodes to places, end values held."""
    return np.stack([np.interp(x, nodes, unit) for unit in np.eye(len(nodes))], axis=-1)


def _void(run: str, names: tuple[str, ...], check_strips: Sequence[Strip], why: str) -> RunVerdict:
    return RunVerdict(
        run=run,
        usable=False,
        why=why,
        reference_strips=names,
        void_strips=tuple(strip.name for strip in check_strips),
        shift_density={},
    )


def _check_run(run: str, strips: Sequence[Strip], limit_density: float) -> None:
    if not limit_density > 0.0:
        raise ArgumentError(
            where="limit_density", rule="greater than 0", value=limit_density, mend="Give the process limit."
        )
    for strip in strips:
        if strip.run != run:
            raise ArgumentError(
                where=f"strip {strip.name}",
                rule=f"belongs to process run {run}",
                value=strip.run,
                mend="Judge each run by its own strips.",
            )
