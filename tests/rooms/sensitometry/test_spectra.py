import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.sensitometry import STATUS_A, STATUS_M, SpectralProduct, Spectrum, status_density
from wideroll.sensitometry.interpolation import interpolation_matrix
from wideroll.synthetic.dyes import make_dyed_film, make_dyes

X = np.arange(380.0, 781.0, 10.0)
IN_SIGHT = (SpectralProduct.VISUAL, *STATUS_A, *STATUS_M)


def flat(level, x=X, **fields):
    """A neutral filter."""
    return Spectrum(wavelength_nm=x, transmittance=np.full(len(x), level), **fields)


def film(spacing_nm, amounts=(0.6, 0.8, 1.0)):
    """The spectrum of an invented film at a spacing."""
    return make_dyed_film(make_dyes(spacing_nm=spacing_nm), amounts).spectrum


@pytest.mark.parametrize("spacing_nm", [1.0, 5.0, 20.0])
def test_evenly_spaced_readings_are_interpolated_as_a_public_library_does(spacing_nm):
    """Sprague's polynomial gives what the colour library's gives, ends included."""
    x = 400.0 + spacing_nm * np.arange(15)
    y = np.random.default_rng(1).random(15)
    wanted = np.linspace(x[0], x[-1], 131)
    expected = colour.SpragueInterpolator(x, y)(wanted)
    assert interpolation_matrix(x, wanted) @ y == pytest.approx(expected, abs=1e-12)


@given(st.lists(st.floats(1.0, 20.0), min_size=5, max_size=12))
@settings(max_examples=40, deadline=None)
def test_interpolation_keeps_readings_lines_and_cubics(gaps):
    """A wavelength that was measured keeps its reading, a line is reproduced and, when unevenly spaced, a cubic."""
    x = 400.0 + np.concatenate([[0.0], np.cumsum(gaps)])
    wanted = np.linspace(x[0], x[-1], 29)
    z, at = (x - x[0]) / np.ptp(x), (wanted - x[0]) / np.ptp(x)
    assert interpolation_matrix(x, x) == pytest.approx(np.eye(len(x)), abs=1e-9)
    assert interpolation_matrix(x, wanted) @ (2.0 - z) == pytest.approx(2.0 - at, abs=1e-9)
    if np.ptp(gaps) > 1e-3:
        assert interpolation_matrix(x, wanted) @ (z**3 - z**2 + 2.0) == pytest.approx(at**3 - at**2 + 2.0, abs=1e-9)


@pytest.mark.parametrize("product", IN_SIGHT, ids=str)
@given(first=st.floats(0.01, 1.0), second=st.floats(0.01, 1.0))
@settings(max_examples=15, deadline=None)
def test_neutral_filters_in_series_add(product, first, second):
    """Two neutral filters in series have the sum of their densities."""
    both = status_density(flat(first * second), product).density
    alone = [status_density(flat(level), product).density for level in (first, second)]
    assert both == pytest.approx(sum(alone), abs=1e-9)


@pytest.mark.parametrize("product", IN_SIGHT, ids=str)
def test_a_neutral_filter_adds_to_a_film(product):
    """A neutral filter of density 0.5 over a coloured film adds 0.5."""
    seen = film(10.0)
    darker = Spectrum(wavelength_nm=seen.wavelength_nm, transmittance=seen.transmittance * 10.0**-0.5)
    added = status_density(darker, product).density - status_density(seen, product).density
    assert added == pytest.approx(0.5, abs=1e-12)


@pytest.mark.parametrize("product", IN_SIGHT, ids=str)
@pytest.mark.parametrize(("spacing_nm", "within"), [(1.0, 1e-12), (5.0, 1e-12), (20.0, 0.004)])
def test_spacing_hardly_matters(product, spacing_nm, within):
    """A dyed film measured at 1 and 5 nm has the density it has at 10 nm; at 20 nm it is within 0.004."""
    assert status_density(film(spacing_nm), product).density == pytest.approx(
        status_density(film(10.0), product).density, abs=within
    )


@pytest.mark.parametrize("product", IN_SIGHT, ids=str)
def test_uneven_readings_are_taken(product):
    """Readings at irregular wavelengths give the film's density within 0.002."""
    x = np.sort(np.concatenate([X[::2], X[1::4] + 3.0]))
    dyes = make_dyes(spacing_nm=1.0)
    fine = make_dyed_film(dyes, (0.6, 0.8, 1.0)).spectrum
    uneven = Spectrum(wavelength_nm=x, transmittance=np.interp(x, fine.wavelength_nm, fine.transmittance))
    expected = status_density(film(10.0), product).density
    assert status_density(uneven, product).density == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize("product", IN_SIGHT, ids=str)
def test_sums_at_10_and_1_nm_differ_little_for_dyes(product):
    """For smooth dyes the choice between 10 nm and 1 nm sums moves the density by less than 0.01, and is reported."""
    found = status_density(film(1.0), product)
    assert 0.0 < abs(found.sampling_density) < 0.01
    assert found.sampling_density == found.fine_density - found.density


def test_own_errors_average_out_and_shared_ones_do_not():
    """The standard uncertainty is that of simulated readings; a shared one of 1 % is 0.0043 of density."""
    rng = np.random.default_rng(3)
    seen = film(10.0)
    u = np.full(len(X), 0.004)
    stated = status_density(
        Spectrum(wavelength_nm=X, transmittance=seen.transmittance, uncertainty=u), SpectralProduct.STATUS_M_GREEN
    ).standard_uncertainty
    drawn = [
        status_density(
            Spectrum(wavelength_nm=X, transmittance=np.clip(seen.transmittance + u * rng.standard_normal(41), 0, 1)),
            SpectralProduct.STATUS_M_GREEN,
        ).density
        for _ in range(800)
    ]
    assert stated == pytest.approx(np.std(drawn), rel=0.1)
    shared = flat(0.5, shared_uncertainty=np.full(len(X), 0.005))
    assert status_density(shared, SpectralProduct.VISUAL).standard_uncertainty == pytest.approx(0.01 / np.log(10.0))


def test_the_interval_holds_all_parts():
    """The combined uncertainty joins readings, sampling and what wasn't seen; without readings' it isn't known."""
    seen = film(10.0)
    found = status_density(
        Spectrum(wavelength_nm=X, transmittance=seen.transmittance, uncertainty=np.full(41, 0.004)),
        SpectralProduct.STATUS_M_RED,
    )
    parts = (found.standard_uncertainty, found.sampling_density, found.unseen_density / np.sqrt(3.0))
    assert found.combined_uncertainty == pytest.approx(np.sqrt(np.sum(np.square(parts))))
    low, high = found.interval
    assert (low + high) / 2.0 == pytest.approx(found.density)
    assert high - low == pytest.approx(2.0 * 1.96 * found.combined_uncertainty, rel=1e-4)
    assert np.isnan(status_density(seen, SpectralProduct.STATUS_M_RED).combined_uncertainty)


def test_the_bound_on_what_was_not_seen_holds():
    """A spectrum cut at 700 nm is off by no more than its bound, and a large bound is told."""
    whole = film(10.0, (2.0, 0.1, 0.1))
    cut = Spectrum(wavelength_nm=X[X <= 700.0], transmittance=whole.transmittance[X <= 700.0])
    found = status_density(cut, SpectralProduct.STATUS_M_RED)
    error = abs(found.density - status_density(whole, SpectralProduct.STATUS_M_RED).density)
    assert 0.0 < error <= found.unseen_density
    assert "outside the spectrum" in found.note


def test_a_spectrum_that_ends_too_early_is_refused():
    """A spectrum to 680 nm has no status M red density, but it has a blue one."""
    short = flat(0.1, X[X <= 680.0])
    with pytest.raises(ArgumentError, match=r"status M red: covers 610 to 770 nm.*1\.9% outside"):
        status_density(short, SpectralProduct.STATUS_M_RED)
    assert status_density(short, SpectralProduct.STATUS_M_BLUE).density == pytest.approx(1.0)


def test_a_gap_in_the_spectrum_is_refused():
    """Readings 50 nm apart don't hold a dye's absorption."""
    with pytest.raises(ArgumentError, match="at most 20 nm apart"):
        status_density(flat(0.1, np.arange(350.0, 851.0, 50.0)), SpectralProduct.VISUAL)


def test_no_light_has_no_density():
    """A spectrum of zeros is refused rather than given an infinite density."""
    with pytest.raises(ArgumentError, match="lets some light pass"):
        status_density(flat(0.0), SpectralProduct.VISUAL)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"transmittance": np.full(41, 45.0)}, "per cent"),
        ({"transmittance": np.full(41, -0.1)}, "from 0"),
        ({"transmittance": np.full(41, np.nan)}, "transmittance at 380 nm"),
        ({"transmittance": np.full(40, 0.1)}, "one value for each of 41"),
        ({"wavelength_nm": X[::-1]}, "ascending"),
        ({"wavelength_nm": np.append(X[:-1], X[-2])}, "ascending"),
        ({"wavelength_nm": X[:4], "transmittance": np.full(4, 0.1)}, "at least 6"),
        ({"uncertainty": np.full(41, -0.01)}, "uncertainty at 380 nm"),
    ],
)
def test_what_cannot_be_a_spectrum_is_refused(fields, said):
    """Per cent, negative, missing, misshapen or unsorted readings are refused, and the error says which."""
    with pytest.raises(ArgumentError, match=said):
        Spectrum(**{"wavelength_nm": X, "transmittance": np.full(41, 0.1), **fields})
