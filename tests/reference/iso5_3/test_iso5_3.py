"""ISO 5-3's spectral products, and densities made with them, against the transcriptions beside this file."""

import csv
from pathlib import Path

import colour
import numpy as np
import pytest

from wideroll.sensitometry import STATUS_A, STATUS_M, SpectralProduct, Spectrum, spectral_product, status_density

LOG_COLUMNS = {
    SpectralProduct.VISUAL: "visual_corrected",
    SpectralProduct.TYPE_1: "type1",
    SpectralProduct.TYPE_2: "type2",
    **dict(zip(STATUS_A, ("statusA_r", "statusA_g", "statusA_b"), strict=True)),
    **dict(zip(STATUS_M, ("statusM_r", "statusM_g", "statusM_b"), strict=True)),
}
PEAKS_NM = dict(zip(SpectralProduct, (570, 400, 430, 620, 530, 440, 640, 540, 450), strict=True))
END_SLOPES = {  # log10 per nm, rising and falling
    SpectralProduct.STATUS_M_BLUE: (0.250, -0.220),
    SpectralProduct.STATUS_M_GREEN: (0.106, -0.120),
    SpectralProduct.STATUS_A_GREEN: (0.220, -0.170),
    SpectralProduct.STATUS_A_BLUE: (0.380, -0.140),
}
LEAST_LOG = -1.0


@pytest.fixture(params=list(SpectralProduct), ids=str)
def product(request):
    """Each product in turn."""
    return request.param


def column(name, product):
    """One column of a file as issued, by wavelength."""
    lines = Path(__file__).with_name(name).read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    key = LOG_COLUMNS[product] if "log10" in name else LOG_COLUMNS[product].removesuffix("_corrected")
    return {float(row["nm"]): float(row[key]) for row in rows if row[key]}


def test_products_are_those_transcribed(product):
    """Every value of the log10 file above 10⁻⁶ of the peak is in the room's table, and nothing else is."""
    issued = {nm: value for nm, value in column("spectral_products_log10.csv", product).items() if value >= LEAST_LOG}
    assert dict(zip(*(values.tolist() for values in spectral_product(product)), strict=True)) == issued


def test_products_agree_with_the_linear_transcription(product):
    """10^(log product − 3) is the second library's value to its rounding of 0.01."""
    issued = column("spectral_products_linear.csv", product)
    wavelength_nm, log_product = spectral_product(product)
    ours = dict(zip(wavelength_nm.tolist(), (10.0 ** (log_product - 3.0)).tolist(), strict=True))
    assert max(abs(ours.get(nm, 0.0) - value) for nm, value in issued.items()) < 0.011


def test_products_peak_where_the_standard_has_it(product):
    """Each product is greatest, 5.000, at its published wavelength."""
    wavelength_nm, log_product = spectral_product(product)
    assert wavelength_nm[log_product.argmax()] == PEAKS_NM[product]
    assert log_product.max() == 5.0


@pytest.mark.parametrize("product", END_SLOPES, ids=str)
def test_products_fall_off_with_the_published_slopes(product):
    """The first and last 10 nm of a status product have the published end slopes, to the rounding of the table."""
    log_product = spectral_product(product)[1]
    found = np.diff(log_product)[[0, -1]] / 10.0
    assert found == pytest.approx(END_SLOPES[product], abs=2e-4)


def test_visual_product_is_luminous_efficiency_times_illuminant_a():
    """Visual is log10 of V(λ) (CIE 1924) times illuminant A, 5.000 at 570 nm, to 0.002 from 410 to 740 nm."""
    wavelength_nm, log_product = spectral_product(SpectralProduct.VISUAL)
    efficiency = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    light = colour.SDS_ILLUMINANTS["A"]
    expected = np.array([np.log10(efficiency[nm] * light[nm]) for nm in wavelength_nm])
    expected += 5.0 - expected[wavelength_nm == 570.0]
    among = (wavelength_nm >= 410.0) & (wavelength_nm <= 740.0)
    assert log_product[among] == pytest.approx(expected[among], abs=0.002)


@pytest.mark.parametrize("spacing_nm", [1.0, 5.0, 7.0, 10.0, 20.0])
def test_a_flat_tenth_has_density_one(product, spacing_nm):
    """A transmittance of 0.1 at all wavelengths has density 1.000 by every product, however it was sampled."""
    x = np.arange(320.0, 841.0, spacing_nm)
    found = status_density(Spectrum(wavelength_nm=x, transmittance=np.full(len(x), 0.1)), product)
    assert found.density == pytest.approx(1.0, abs=1e-12)
    assert found.fine_density == pytest.approx(1.0, abs=1e-12)


def test_the_standards_caution_goes_with_the_result(product):
    """The result says that the 10 nm products aren't what the standard computes densities with."""
    x = np.arange(320.0, 841.0, 10.0)
    found = status_density(Spectrum(wavelength_nm=x, transmittance=np.full(len(x), 0.1)), product)
    assert "10 nm spectral products" in found.note
    assert "ISO 5-3:2009" in found.note
