"""Exchange text that others have published is read as it was meant."""

from pathlib import Path

import pytest

from wideroll.readers import read_spectra
from wideroll.readers.exchange_text import is_exchange_text, parse_exchange

HERE = Path(__file__).parent


def test_a_basic_file_as_printed() -> None:
    """Eleven patches with six fields each, a name that begins with a digit among them."""
    path = HERE / "patches.txt"
    table = parse_exchange(path, path.read_text())
    assert table.fields == ("SAMPLE_ID", "SAMPLE_NAME", "CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K")
    assert len(table.sets) == 11
    assert table.sets[7] == (13, ("8", "3cBlack", "100", "100", "100", "0"))


def test_a_measured_spectrum_as_pasted() -> None:
    """Keywords with remarks behind them, declared names, and 36 bands of 10 nm with decimal commas."""
    path = HERE / "emission.txt"
    text = path.read_text()
    assert is_exchange_text(text)
    table = parse_exchange(path, text)
    assert len(table.fields) == 44
    assert table.keywords["CREATED"] == "2018-07-05"
    assert table.declared == {"SAMPLE_ID", "SAMPLE_NAME"}
    (spectrum,) = read_spectra(path, full_scale=100).values()
    assert spectrum.wavelength_nm.tolist() == list(range(380, 740, 10))
    assert spectrum.transmittance[[0, 8, -1]].tolist() == pytest.approx([0.0017331, 0.1136016, 0.0177048], rel=1e-12)
