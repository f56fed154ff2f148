from dataclasses import replace

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.sensitometry import FilmType, Record, StripKind, correct_strip, judge_run, measure_strip
from wideroll.synthetic.strips import StripRecipe, make_strips

COLOUR = (Record.RED, Record.GREEN, Record.BLUE)
LIMIT = 0.10


def run_of(*, references=2, shift=0.0, noise_sd=0.008, fog=0.0, factor=1.0, seed=0, **reference):
    """A run with reference strips and one check strip that is ``shift`` slower than its aim."""
    common = {
        "film_type": FilmType.COLOUR_NEGATIVE,
        "run": "7",
        "process_fog": fog,
        "process_factor": factor,
        "noise_sd": noise_sd,
    }
    recipes = [
        StripRecipe(name=f"R{n}", kind=StripKind.REFERENCE, seed=1000 * seed + n, **common, **reference)
        for n in range(references)
    ]
    check = StripRecipe(name="C", seed=1000 * seed + 99, shift_log_h=dict.fromkeys(COLOUR, shift), **common)
    strips = make_strips([*recipes, check]).strips
    return strips[:-1], strips[-1]


def test_a_process_on_aim_is_usable_and_shifts_little(aims):
    """References on aim make the run usable, with a shift no larger than their noise."""
    references, check = run_of()
    verdict = judge_run("7", references, [check], aims, LIMIT)
    assert verdict.usable
    assert verdict.reference_strips == ("R0", "R1")
    assert verdict.void_strips == ()
    assert max(np.abs(curve.density).max() for curve in verdict.shift_density.values()) < 0.03


@pytest.mark.parametrize(("fog", "factor"), [(0.15, 1.0), (0.0, 1.12), (-0.15, 1.0)])
def test_a_process_off_aim_voids_the_run(aims, fog, factor):
    """Fog or development beyond the limit voids the run, says where, and names the strips to repeat."""
    references, check = run_of(fog=fog, factor=factor)
    verdict = judge_run("7", references, [check], aims, LIMIT)
    assert not verdict.usable
    assert verdict.void_strips == ("C",)
    assert "from aim, most at log H" in verdict.why
    assert verdict.shift_density


def test_a_run_without_a_reference_is_not_usable(aims):
    """Without a reference strip nothing is known of the process, so the run isn't usable."""
    _, check = run_of()
    verdict = judge_run("7", [], [check], aims, LIMIT)
    assert not verdict.usable
    assert "no reference strip" in verdict.why
    assert verdict.void_strips == ("C",)


def test_a_reference_that_was_not_read_is_told(aims):
    """One unreadable reference of two is told and the other judges; when none can be read, the run is void."""
    references, check = run_of()
    unread = replace(references[0], density={r: np.full(21, np.nan) for r in COLOUR})
    one = judge_run("7", [unread, references[1]], [check], aims, LIMIT)
    assert one.usable
    assert "R0" in one.why
    none = judge_run("7", [unread], [check], aims, LIMIT)
    assert not none.usable
    assert "R0 can't be used" in none.why


def test_a_faulty_step_does_not_void_a_run(aims):
    """A single step read 0.3 too dense on a reference strip is set aside instead of voiding the run."""
    references, check = run_of(references=1, faulty_steps={10: 0.3})
    assert judge_run("7", references, [check], aims, LIMIT).usable


def test_correction_leaves_the_film_s_own_deviation(aims):
    """Without noise, what the process did is taken off and the film's shift of 0.06 is left to 0.005."""
    references, check = run_of(noise_sd=0.0, shift=0.06, fog=0.03, factor=1.03)
    verdict = judge_run("7", references, [check], aims, LIMIT)
    plain = measure_strip(check, aims)
    corrected = measure_strip(correct_strip(check, verdict), aims)
    for before, after in zip(plain.deviations, corrected.deviations, strict=True):
        assert before.dmin_density.value == pytest.approx(0.03, abs=1e-3)
        assert after.dmin_density.value == pytest.approx(0.0, abs=1e-3)
        assert after.speed_log_h.value == pytest.approx(0.06, abs=5e-3)
        assert abs(after.contrast.value) < 0.005 < abs(before.contrast.value)


def test_corrected_intervals_hold_the_reference_s_own_noise(aims):
    """Over 40 runs with one reference each, 95 % intervals of corrected speed hold the truth in at least 90 %."""
    inside = []
    for seed in range(40):
        references, check = run_of(references=1, shift=0.05, fog=0.02, factor=1.02, seed=seed)
        verdict = judge_run("7", references, [check], aims, 0.2)
        found = measure_strip(correct_strip(check, verdict), aims).deviations
        inside.extend(d.speed_log_h.low <= 0.05 <= d.speed_log_h.high for d in found)
    assert np.mean(inside) >= 0.90


def test_correction_widens_the_interval(aims):
    """A corrected strip is known less well than an uncorrected one, and better with more references."""
    widths = []
    for count in (1, 4):
        references, check = run_of(references=count)
        corrected = correct_strip(check, judge_run("7", references, [check], aims, LIMIT))
        dmin = measure_strip(corrected, aims).deviations[1].dmin_density
        widths.append(dmin.high - dmin.low)
    plain = measure_strip(check, aims).deviations[1].dmin_density
    assert plain.high - plain.low < widths[1] < widths[0]


def test_readings_where_no_reference_was_read_are_not_used(aims):
    """Beyond the reference's exposures nobody knows what the process did: readings there come back as not read."""
    references, check = run_of(fog=0.05, noise_sd=0.0)
    verdict = judge_run("7", references, [check], aims, LIMIT)
    wider = replace(check, log_h=check.log_h + np.linspace(-0.5, 0.5, 21))
    corrected = correct_strip(wider, verdict)
    first, last = references[0].log_h[[0, -1]]
    known = (wider.log_h >= first - 0.02) & (wider.log_h <= last + 0.02)
    assert 0 < known.sum() < 21
    for record in COLOUR:
        assert (wider.density[record] - corrected.density[record])[known] == pytest.approx(0.05, abs=1e-4)
        assert np.isnan(corrected.density[record][~known]).all()


def short_of(strip, last):
    """The strip read only up to a log H."""
    return replace(
        strip, density={r: np.where(strip.log_h <= last, density, np.nan) for r, density in strip.density.items()}
    )


def test_the_order_of_reference_strips_is_of_no_account(aims):
    """A reference read only in part speaks for the steps it was read at, whether it comes first or last."""
    references, check = run_of(references=2, factor=1.04, seed=3)
    full, short = references[0], short_of(references[1], -1.2)
    one, other = (judge_run("7", order, [check], aims, LIMIT) for order in ([full, short], [short, full]))
    assert one.usable
    assert other.usable
    for record in COLOUR:
        assert one.shift_density[record].log_h.tolist() == other.shift_density[record].log_h.tolist()
        assert one.shift_density[record].density == pytest.approx(other.shift_density[record].density, abs=1e-12)
        assert len(one.shift_density[record].log_h) == 21


def test_a_reference_read_in_part_leads_to_no_false_deviation(aims):
    """What a partly read reference can't correct is left out and flagged, not taken for the film's own contrast."""
    references, check = run_of(references=2, factor=1.06, seed=5, noise_sd=0.002)
    verdict = judge_run("7", [short_of(one, -1.2) for one in references], [check], aims, 0.3)
    for found in measure_strip(correct_strip(check, verdict), aims).deviations:
        assert found.contrast.extrapolated
        assert found.worst_density.extrapolated
        assert abs(found.speed_log_h.value) < 0.03


def test_only_a_usable_run_of_its_own_corrects_a_strip(aims):
    """A void run, another run and a record without reference are refused."""
    references, check = run_of()
    verdict = judge_run("7", references, [check], aims, LIMIT)
    with pytest.raises(ArgumentError, match="usable process run"):
        correct_strip(check, judge_run("7", [], [check], aims, LIMIT))
    with pytest.raises(ArgumentError, match="usable process run"):
        correct_strip(replace(check, run="8"), verdict)
    with pytest.raises(ArgumentError, match="visual"):
        correct_strip(replace(check, density={Record.VISUAL: check.density[Record.RED]}), verdict)


def test_strips_of_another_run_are_refused(aims):
    """A reference strip of another run can't judge this one."""
    references, check = run_of()
    with pytest.raises(ArgumentError, match="belongs to process run 8"):
        judge_run("8", references, [check], aims, LIMIT)
    with pytest.raises(ArgumentError, match="limit_density"):
        judge_run("7", references, [check], aims, 0.0)


def test_references_exposed_off_the_aims_void_the_run(aims):
    """References whose exposures the aims don't cover say nothing about the process."""
    references, check = run_of()
    moved = [replace(strip, log_h=strip.log_h + 10.0) for strip in references]
    verdict = judge_run("7", moved, [check], aims, LIMIT)
    assert not verdict.usable
    assert "outside the reference aims" in verdict.why


def test_the_chart_alone_can_void_a_run(aims):
    """What the processor's chart says voids a run within its limit, stands first in the reason, and keeps the shift."""
    references, check = run_of()
    verdict = judge_run("7", references, [check], aims, LIMIT, charted="processor 2 is out of control")
    assert not verdict.usable
    assert verdict.why == "processor 2 is out of control"
    assert verdict.void_strips == ("C",)
    assert verdict.shift_density
    with pytest.raises(ArgumentError):
        correct_strip(check, verdict)


def test_chart_and_limit_are_both_named(aims):
    """A run that both rule out says so, the chart first."""
    references, check = run_of(fog=0.15)
    verdict = judge_run("7", references, [check], aims, LIMIT, charted="processor 2 is out of control")
    first, second = verdict.why.split("; ", 1)
    assert first == "processor 2 is out of control"
    assert second.startswith("reference strips lie more than")


def _calibrated(strip, sd, read_by):
    """A strip whose densities carry a calibration's error in gain, common to all steps."""
    shared = {record: sd**2 * np.outer(density, density) for record, density in strip.density.items()}
    return replace(strip, shared_covariance=shared, read_by=read_by, log_h_sd=0.03)


def test_what_check_and_reference_share_falls_out_of_the_correction(aims):
    """One densitometer and sensitometer for both: their errors add nothing. Two densitometers: both errors stay."""
    made = make_strips(
        [
            StripRecipe(name="R", film_type=FilmType.COLOUR_NEGATIVE, kind=StripKind.REFERENCE, seed=1),
            StripRecipe(name="C", film_type=FilmType.COLOUR_NEGATIVE, seed=2),
        ]
    ).strips

    def dmin_error(reference, check):
        corrected = correct_strip(check, judge_run("1", [reference], [check], aims, 0.3))
        assert corrected.log_h_sd == 0.0
        return measure_strip(corrected, aims).deviations[0].dmin_density.standard_uncertainty

    bare = dmin_error(*made)
    same = dmin_error(*(_calibrated(strip, 0.02, "D-1, 2026-11-02") for strip in made))
    other = dmin_error(_calibrated(made[0], 0.02, "D-1, 2026-11-02"), _calibrated(made[1], 0.02, "D-2, 2026-11-02"))
    assert same == pytest.approx(bare, rel=1e-3)
    expected = np.hypot(bare, np.sqrt(2.0) * 0.02 * made[1].density[Record.RED][0])
    assert other == pytest.approx(expected, rel=0.15)


@pytest.mark.parametrize(("added", "usable"), [(0.0, True), (0.01, True), (0.044, False)])
def test_references_that_contradict_one_another_void_the_run(aims, added, usable):
    """Two reference strips apart by more than noise and half the limit void the run, which names both; less doesn't."""
    references, check = run_of(references=2, noise_sd=0.004, seed=2)
    moved = {record: density + added for record, density in references[1].density.items()}
    verdict = judge_run("7", [references[0], replace(references[1], density=moved)], [check], aims, 0.05)
    assert verdict.usable is usable
    assert usable or "contradict one another" in verdict.why


def test_references_with_noise_only_seldom_contradict(aims):
    """Of 60 runs with two references of the same film none is void, at noise 0.008 and a limit of 0.04."""
    runs = [run_of(references=2, seed=seed) for seed in range(60)]
    assert all("contradict" not in judge_run("7", refs, [check], aims, 0.04).why for refs, check in runs)
