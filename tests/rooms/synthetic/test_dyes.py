import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.synthetic.dyes import make_dyed_film, make_dyes


def test_each_dye_absorbs_most_in_its_region():
    """Cyan is densest in red light, magenta in green, yellow in blue, at a density near 1."""
    dyes = make_dyes(spacing_nm=1.0)
    peaks = dyes.wavelength_nm[dyes.density.argmax(axis=1)]
    assert np.all((peaks > [600.0, 500.0, 400.0]) & (peaks < [700.0, 600.0, 500.0]))
    assert dyes.density.max(axis=1) == pytest.approx(1.0, abs=0.03)


def test_a_mask_is_orange():
    """The mask adds density to blue, less to green, and none to red."""
    plain, masked = make_dyes(), make_dyes(masked=True)
    added = masked.base_density - plain.base_density
    blue, green, red = (added[plain.wavelength_nm == nm].item() for nm in (440.0, 540.0, 680.0))
    assert blue > green > 0.1
    assert red < 0.01


def test_the_spacing_does_not_change_a_dye():
    """At shared wavelengths the dyes are the same, whatever the spacing."""
    assert make_dyes(spacing_nm=5.0).density[:, ::2] == pytest.approx(make_dyes(spacing_nm=10.0).density)


def test_a_film_is_base_and_dyes():
    """Without noise the film's spectral density is the base's and the dyes', by amount."""
    dyes = make_dyes(masked=True)
    film = make_dyed_film(dyes, (0.2, 0.4, 0.6), base_amount=1.1)
    expected = 1.1 * dyes.base_density + film.amounts @ dyes.density
    assert -np.log10(film.spectrum.transmittance) == pytest.approx(expected)
    assert film.spectrum.uncertainty is None


def test_noise_has_its_size_and_its_seed():
    """Readings scatter by the noise stated, the same for the same seed and otherwise not."""
    dyes = make_dyes(spacing_nm=1.0)
    clean = make_dyed_film(dyes, (0.2, 0.3, 0.4)).spectrum.transmittance
    first, again, other = (make_dyed_film(dyes, (0.2, 0.3, 0.4), noise=0.01, seed=seed) for seed in (1, 1, 2))
    assert np.std(first.spectrum.transmittance - clean) == pytest.approx(0.01, rel=0.15)
    assert np.array_equal(first.spectrum.transmittance, again.spectrum.transmittance)
    assert not np.array_equal(first.spectrum.transmittance, other.spectrum.transmittance)
    assert (first.spectrum.uncertainty == 0.01).all()


def test_impossible_films_are_refused():
    """A negative noise, a negative spacing or a negative factor is refused."""
    with pytest.raises(ArgumentError, match="noise"):
        make_dyed_film(make_dyes(), (0.1, 0.1, 0.1), noise=-1.0)
    with pytest.raises(ArgumentError, match="spacing_nm"):
        make_dyes(spacing_nm=-10.0)
    with pytest.raises(ArgumentError, match="unwanted"):
        make_dyes(unwanted=-1.0)
