"""Dye amounts with their uncertainty, from densities and from spectra."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    STATUS_A,
    STATUS_M,
    Dye,
    DyeSet,
    Record,
    Spectrum,
    dye_amounts,
    dye_matrix,
    status_density,
    unmix_densities,
    unmix_deviations,
    unmix_spectrum,
)
from wideroll.synthetic.dyes import make_dyed_film, make_dyes

MATRIX = np.array([[1.00, 0.12, 0.03], [0.10, 1.00, 0.12], [0.06, 0.22, 1.00]])
COVARIANCE = 1e-4 * np.array([[1.0, 0.3, 0.0], [0.3, 2.0, -0.2], [0.0, -0.2, 1.5]])
AMOUNTS = st.tuples(*[st.floats(0.05, 1.5)] * 3)


@pytest.fixture(scope="module")
def dyes():
    """Invented dyes on an orange mask."""
    return make_dyes(masked=True)


def densities(spectrum, products):
    """Densities of a spectrum by three products."""
    return np.array([status_density(spectrum, product).density for product in products])


def test_each_dye_belongs_to_a_record():
    """Red reads cyan, green magenta, blue yellow."""
    assert [dye.record for dye in Dye] == [Record.RED, Record.GREEN, Record.BLUE]


@given(AMOUNTS)
@settings(max_examples=30, deadline=None)
def test_amounts_are_those_of_the_plain_inverse(amounts):
    """With uncertainty or without, the same amounts come back."""
    density = MATRIX @ amounts
    found = unmix_densities(density, MATRIX, COVARIANCE)
    assert found.amounts == pytest.approx(amounts, abs=1e-9)
    assert found.amounts == pytest.approx(dye_amounts(density, MATRIX), abs=1e-12)
    assert not found.note


@given(AMOUNTS, st.lists(st.floats(0.1, 10.0), min_size=3, max_size=3))
@settings(max_examples=30, deadline=None)
def test_the_unit_of_dye_does_not_matter(amounts, units):
    """In other units of dye, amounts and standard uncertainties scale with them; the condition number stays."""
    density = MATRIX @ amounts
    found, other = (unmix_densities(density, matrix, COVARIANCE) for matrix in (MATRIX, MATRIX * units))
    assert other.amounts * units == pytest.approx(found.amounts, abs=1e-9)
    assert other.standard_uncertainty * units == pytest.approx(found.standard_uncertainty, rel=1e-9)
    assert other.condition == pytest.approx(found.condition, rel=1e-9)


def test_covariance_is_that_of_simulated_densities_and_matrices():
    """Errors drawn for densities and matrix scatter the amounts as stated, correlations included."""
    rng = np.random.default_rng(11)
    u, amounts = np.full((3, 3), 0.01), np.array([0.8, 1.0, 1.2])
    density = MATRIX @ amounts
    drawn = np.array(
        [
            dye_amounts(rng.multivariate_normal(density, COVARIANCE), MATRIX + u * rng.standard_normal((3, 3)))
            for _ in range(6000)
        ]
    )
    stated = unmix_densities(density, MATRIX, COVARIANCE, matrix_uncertainty=u)
    scale = np.outer(stated.standard_uncertainty, stated.standard_uncertainty)
    assert np.cov(drawn.T) / scale == pytest.approx(stated.covariance / scale, abs=0.06)
    known = unmix_densities(density, MATRIX, COVARIANCE)
    assert (stated.standard_uncertainty > 1.2 * known.standard_uncertainty).all()


def test_deviations_of_one_level_have_its_covariance():
    """One level unmixed as deviations has the covariance that ``unmix_densities`` states."""
    density, u = MATRIX @ [0.1, -0.2, 0.3], np.full((3, 3), 0.02)
    one = unmix_densities(density, MATRIX, COVARIANCE, matrix_uncertainty=u)
    several = unmix_deviations([density], MATRIX, [COVARIANCE], matrix_uncertainty=u)
    assert several.amounts[0] == pytest.approx(one.amounts)
    assert several.covariance == pytest.approx(one.covariance)


def test_an_error_of_the_matrix_is_shared_by_levels():
    """Levels without shared errors stay apart; an uncertain matrix moves them together when densities are exact."""
    density = np.array([MATRIX @ [0.1, 0.1, 0.1], MATRIX @ [0.2, 0.2, 0.2]])
    apart = unmix_deviations(density, MATRIX, [COVARIANCE, 2.0 * COVARIANCE]).covariance
    assert not apart[:3, 3:].any()
    assert apart[3:, 3:] == pytest.approx(2.0 * apart[:3, :3])
    together = unmix_deviations(density, MATRIX, np.zeros((6, 6)), matrix_uncertainty=np.full((3, 3), 0.02)).covariance
    assert together[:3, 3:] == pytest.approx(2.0 * together[:3, :3])


def test_a_negative_amount_is_told_and_not_clipped():
    """An amount below 0 comes out as it is, and the note says whether noise can explain it."""
    slightly = unmix_densities(MATRIX @ [0.5, -0.01, 0.5], MATRIX, COVARIANCE)
    assert slightly.negative == (Dye.MAGENTA,)
    assert slightly.amounts[1] == pytest.approx(-0.01)
    assert "within its uncertainty" in slightly.note
    surely = unmix_densities(MATRIX @ [0.5, -0.10, 0.5], MATRIX, COVARIANCE)
    assert "surely" in surely.note


@pytest.mark.parametrize(("likeness", "condition"), [(0.9, 19.0), (0.95, 39.0)])
def test_dyes_hardly_told_apart_are_flagged(likeness, condition):
    """Two dyes with nearly the same densities give amounts, with the condition number and a warning."""
    alike = np.array([[1.0, likeness, 0.0], [likeness, 1.0, 0.0], [0.0, 0.0, 1.0]])
    found = unmix_densities([1.0, 1.0, 1.0], alike, COVARIANCE)
    assert found.condition == pytest.approx(condition)
    assert "hardly told apart" in found.note


@pytest.mark.parametrize(
    ("density", "matrix", "covariance", "said"),
    [
        ([1.0, 1.0, 1.0], [[1.0, 0.999, 0.0], [0.999, 1.0, 0.0], [0.0, 0.0, 1.0]], COVARIANCE, "told apart"),
        ([1.0, 1.0, 1.0], np.diag([1.0, 1.0, 0.0]), COVARIANCE, "told apart"),
        ([1.0, 1.0, 1.0], np.eye(2), COVARIANCE, "matrix"),
        ([1.0, np.nan, 1.0], MATRIX, COVARIANCE, "density"),
        ([1.0, 1.0, 1.0], MATRIX, [[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "negative variance"),
        ([1.0, 1.0, 1.0], MATRIX, [[1.0, 0.5, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], "symmetric"),
    ],
)
def test_what_cannot_be_unmixed_is_refused(density, matrix, covariance, said):
    """A condition number over 100, a misshapen matrix, a missing density or no covariance is refused by name."""
    with pytest.raises(ArgumentError, match=said):
        unmix_densities(density, matrix, covariance)


@given(AMOUNTS, st.booleans())
@settings(max_examples=25, deadline=None)
def test_planted_amounts_come_back_from_a_spectrum(amounts, fit_base):
    """Without noise the amounts put in are found, base known or fitted."""
    dyes = make_dyes(masked=True)
    found = unmix_spectrum(make_dyed_film(dyes, amounts).spectrum, dyes, fit_base=fit_base)
    assert found.amounts == pytest.approx(amounts, abs=1e-9)
    assert found.fit.base_amount == pytest.approx(1.0, abs=1e-9)
    assert (found.fit.base_sd > 0.0) == fit_base


def test_a_base_that_differs_is_fitted(dyes):
    """A base of 1.2 is found with the right amounts when it is fitted; taken as 1, the fit is refused."""
    film = make_dyed_film(dyes, (0.3, 0.4, 0.5), base_amount=1.2, noise=0.001, seed=2)
    fitted = unmix_spectrum(film.spectrum, dyes, fit_base=True)
    assert abs(fitted.fit.base_amount - 1.2) < 4.0 * fitted.fit.base_sd
    assert (np.abs(fitted.amounts - film.amounts) < 4.0 * fitted.standard_uncertainty).all()
    held = unmix_spectrum(film.spectrum, dyes)
    assert "don't explain the spectrum" in held.note


def test_spectral_amounts_scatter_as_stated(dyes):
    """Over 200 noisy spectra errors have mean 0 and the stated spread, and chi-squared refuses about 5 %."""
    truth, scores, refused = np.array([1.0, 1.2, 1.5]), [], 0
    for seed in range(200):
        found = unmix_spectrum(make_dyed_film(dyes, tuple(truth), noise=0.001, seed=seed).spectrum, dyes)
        scores.append((found.amounts - truth) / found.standard_uncertainty)
        refused += found.fit.p_value < 0.05
    assert np.mean(scores, axis=0) == pytest.approx(0.0, abs=0.25)
    assert np.std(scores, axis=0) == pytest.approx(1.0, abs=0.17)
    assert 0.01 < refused / 200 < 0.11


def test_a_shared_error_is_reckoned_with(dyes):
    """With a 100 % line wrong by 2 %, drawn for each spectrum, amounts scatter as stated, wider than without it."""
    rng, truth, scores, widened = np.random.default_rng(6), np.array([0.3, 0.4, 0.5]), [], []
    for seed in range(200):
        film = make_dyed_film(dyes, tuple(truth), noise=0.001, seed=seed).spectrum
        line = {"wavelength_nm": film.wavelength_nm, "uncertainty": film.uncertainty}
        seen = film.transmittance * (1.0 + 0.02 * rng.standard_normal())
        found = unmix_spectrum(Spectrum(transmittance=seen, shared_uncertainty=0.02 * seen, **line), dyes)
        scores.append((found.amounts - truth) / found.standard_uncertainty)
        widened.append(found.standard_uncertainty / unmix_spectrum(film, dyes).standard_uncertainty)
    assert np.std(scores, axis=0) == pytest.approx(1.0, abs=0.17)
    assert np.mean(widened, axis=0)[0] > 1.4


@pytest.mark.parametrize("products", [STATUS_A, STATUS_M], ids=["A", "M"])
def test_broad_band_and_spectral_unmixing_agree_at_small_amounts(products):
    """The 3 × 3 matrix made from the dyes' spectra gives the spectral amounts, the better the smaller they are."""
    dyes = make_dyes()
    off = []
    for size in (0.2, 0.02, 0.002):
        film = make_dyed_film(dyes, (1.0 * size, 0.8 * size, 1.2 * size))
        base = Spectrum(wavelength_nm=dyes.wavelength_nm, transmittance=10.0**-dyes.base_density)
        matrix = dye_matrix(dyes, products, amount=size)
        density = densities(film.spectrum, products) - densities(base, products)
        broad = dye_amounts(density, matrix)
        assert unmix_spectrum(film.spectrum, dyes).amounts == pytest.approx(film.amounts, abs=1e-9)
        off.append(float(np.abs(broad / film.amounts - 1.0).max()))
    assert off[0] < 0.02
    assert off[1] < 0.15 * off[0]
    assert off[2] < 0.15 * off[1]


def test_dyes_without_unwanted_absorptions_hardly_mix():
    """Ideal dyes have a matrix far nearer its diagonal than real ones, and are better told apart."""
    ideal, real = (dye_matrix(make_dyes(unwanted=unwanted)) for unwanted in (0.0, 1.0))
    off_diagonal = ~np.eye(3, dtype=bool)
    assert ideal[off_diagonal].sum() < 0.6 * real[off_diagonal].sum()
    assert np.linalg.cond(ideal) < np.linalg.cond(real) < 2.0


def test_a_film_too_dense_is_refused(dyes):
    """Amounts can't be found where hardly any light passes."""
    dark = Spectrum(wavelength_nm=dyes.wavelength_nm, transmittance=np.full(41, 1e-4), uncertainty=np.full(41, 1e-3))
    with pytest.raises(ArgumentError, match="let enough light pass"):
        unmix_spectrum(dark, dyes)


def test_dyes_of_one_shape_are_refused(dyes):
    """Two dyes with the same spectrum can't be told apart."""
    same = DyeSet(wavelength_nm=dyes.wavelength_nm, density=dyes.density[[0, 0, 2]])
    with pytest.raises(ArgumentError, match="told apart"):
        unmix_spectrum(make_dyed_film(dyes, (0.3, 0.4, 0.5)).spectrum, same)


def test_a_shared_uncertainty_alone_is_refused(dyes):
    """Readings that share all their error would be exact in their differences."""
    film = make_dyed_film(dyes, (0.3, 0.4, 0.5)).spectrum
    seen = Spectrum(
        wavelength_nm=film.wavelength_nm, transmittance=film.transmittance, shared_uncertainty=np.full(41, 0.01)
    )
    with pytest.raises(ArgumentError, match="own uncertainty"):
        unmix_spectrum(seen, dyes)


def test_a_misshapen_dye_set_is_refused():
    """Two dyes aren't three."""
    with pytest.raises(ArgumentError, match="density"):
        DyeSet(wavelength_nm=np.arange(400.0, 501.0, 10.0), density=np.ones((2, 11)))


def test_a_matrix_needs_three_products(dyes):
    """A matrix of two products can't be inverted."""
    with pytest.raises(ArgumentError, match="three products"):
        dye_matrix(dyes, STATUS_M[:2])
