from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from wideroll.sensitometry import (
    Dye,
    FilmDyes,
    FilmType,
    Record,
    ShiftKind,
    StripKind,
    density_at,
    fit_aims,
    fit_curve,
    judge_run,
    measure_strip,
)
from wideroll.sensitometry.strip_dyes import strip_dye_shift
from wideroll.synthetic import StripRecipe, make_aims, make_strips

FILM = FilmType.COLOUR_NEGATIVE
RECORDS = (Record.RED, Record.GREEN, Record.BLUE)
MATRIX = np.array([[0.96, 0.07, 0.00], [0.21, 0.88, 0.10], [0.13, 0.25, 0.90]])
DYES = FilmDyes(matrix=MATRIX)
AIMS = replace(make_aims(FILM), dyes=DYES)
AIM_FITS = fit_aims(AIMS)
STRIPS = 120


def dyed_strip(seed, slow_dye=None, shift=0.04, kind=StripKind.CHECK, **recipe):
    """A strip whose one dye is formed at more exposure than it should be: its unwanted absorptions move along."""
    strip = make_strips(StripRecipe(name=str(seed), film_type=FILM, seed=seed, kind=kind, **recipe)).strips[0]
    if slow_dye is None:
        return strip
    fit = AIM_FITS[slow_dye.record]
    place = list(Dye).index(slow_dye)
    amount = (density_at(fit, strip.log_h - shift) - density_at(fit, strip.log_h)) / MATRIX[place, place]
    density = {record: strip.density[record] + MATRIX[row, place] * amount for row, record in enumerate(RECORDS)}
    return replace(strip, density=density)


@lru_cache
def told(slow_dye=None, **recipe):
    """What is told of noisy strips of one kind."""
    strips = (dyed_strip(seed, slow_dye, **recipe) for seed in range(STRIPS))
    fits = [{record: fit_curve(s.log_h, s.density[record]) for record in RECORDS} for s in strips]
    return [strip_dye_shift([one], AIM_FITS, DYES) for one in fits]


def test_false_alarms_are_one_in_twenty(record_property):
    """On strips of the aim's film a deviation is shown in 5 %, within the error of the simulation."""
    shown = np.mean([one.kind is not ShiftKind.NONE_SHOWN for one in told()])
    record_property("false alarms", float(shown))
    assert shown == pytest.approx(0.05, abs=3.5 * np.sqrt(0.05 * 0.95 / STRIPS))


@pytest.mark.parametrize("dye", list(Dye))
def test_a_slow_record_is_named(dye, record_property):
    """A record 0.04 log H slow is named in most strips, and another one hardly ever."""
    named = [one.dye for one in told(dye) if one.kind is ShiftKind.ONE_RECORD]
    record_property("named", named.count(dye) / STRIPS)
    assert named.count(dye) > 0.75 * STRIPS
    assert len(named) - named.count(dye) < 0.05 * STRIPS
    assert sum(one.kind is ShiftKind.PROCESS_WIDE for one in told(dye)) < 0.05 * STRIPS


@pytest.mark.parametrize("process", [{"process_fog": 0.04}, {"process_factor": 1.05}])
def test_fog_and_development_are_process_wide(process, record_property):
    """A fog of one density in all channels, and a factor on what lies above the minimum, are told as process-wide."""
    wide = np.mean([one.kind is ShiftKind.PROCESS_WIDE for one in told(**process)])
    record_property("process-wide", float(wide))
    assert wide > 0.85


def test_amounts_are_the_unmixed_deviations_of_the_curves():
    """Amounts are the matrix's inverse on the fitted curves' densities, less the aims', at the levels given."""
    result = measure_strip(dyed_strip(1, Dye.CYAN, shift=0.1), AIMS)
    shift = result.dye_shift
    assert shift is not None
    off = [
        density_at(result.fits[record], shift.log_h) - density_at(AIM_FITS[record], shift.log_h) for record in RECORDS
    ]
    assert shift.amounts == pytest.approx(np.linalg.solve(MATRIX, np.array(off)).T, rel=1e-9)
    assert (np.diff(shift.log_h) > 0.0).all()


def test_an_unsure_level_of_exposure_explains_what_all_records_share():
    """With the sensitometer's level known to 0.1, a film 0.05 slow in all records shows no deviation; to 0, it does."""
    strip = make_strips(StripRecipe(name="a", film_type=FILM, shift_log_h=dict.fromkeys(RECORDS, 0.05))).strips[0]
    sure, unsure = (measure_strip(replace(strip, log_h_sd=sd), AIMS).dye_shift for sd in (0.0, 0.1))
    assert sure.kind is ShiftKind.PROCESS_WIDE
    assert unsure.kind is ShiftKind.NONE_SHOWN
    alone = measure_strip(replace(dyed_strip(3, Dye.CYAN, shift=0.1), log_h_sd=0.1), AIMS).dye_shift
    assert alone.dye is Dye.CYAN


def test_uncertain_dyes_make_it_harder():
    """With the matrix's entries uncertain, no explanation becomes less probable."""
    strip = dyed_strip(2, Dye.YELLOW, shift=0.1)
    loose = replace(AIMS, dyes=FilmDyes(matrix=MATRIX, standard_uncertainty=np.full((3, 3), 0.05)))
    known, unknown = (measure_strip(strip, aims).dye_shift.p_values for aims in (AIMS, loose))
    assert all(unknown[name] >= p for name, p in known.items())


def test_without_dyes_or_a_colour_nothing_is_told():
    """Aims without dyes, no aims, and aims of two records tell nothing, and leave all else as it was."""
    strip = dyed_strip(4)
    assert measure_strip(strip, make_aims(FILM)).dye_shift is None
    assert measure_strip(strip, None, film_type=FILM).dye_shift is None
    two = replace(AIMS, curves={record: AIMS.curves[record] for record in RECORDS[:2]})
    assert measure_strip(strip, two).dye_shift is None
    assert measure_strip(strip, AIMS).measures == measure_strip(strip, make_aims(FILM)).measures


def test_a_run_tells_what_its_process_did():
    """Of a run fogged beyond its limit, the reference strips say that all records deviate, void or not."""
    references = [dyed_strip(seed, kind=StripKind.REFERENCE, process_fog=0.06) for seed in (1, 2)]
    for limit in (0.03, 0.2):
        run = judge_run("1", references, [], AIMS, limit)
        assert run.usable is (limit > 0.1)
        assert run.dye_shift.kind is ShiftKind.PROCESS_WIDE
    assert judge_run("1", references, [], make_aims(FILM), 0.2).dye_shift is None
    assert judge_run("1", [], [], AIMS, 0.2).dye_shift is None
