"""Spectra from tables and from exchange text."""

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.readers import read_spectra
from wideroll.sensitometry import Spectrum

NM = [380, 400, 420, 440, 460, 480, 500]
Read = Callable[..., Mapping[str, Spectrum]]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read a text as a file of spectra."""

    def read(text: str | bytes, **more: float) -> Mapping[str, Spectrum]:
        path = tmp_path / "spectra.txt"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_spectra(path, **more)

    return read


def _table(spectra: Mapping[str, list[float]], sign: str = ".") -> str:
    rows = [[str(nm), *(f"{own[n]:.4f}".replace(".", sign) for own in spectra.values())] for n, nm in enumerate(NM)]
    return "\n".join(";".join(row) for row in [["wavelength_nm", *spectra], *rows])


def _pairs(spectra: Mapping[str, list[float]], field: str, scale: float) -> str:
    fields = ["SAMPLE_NAME", *["SPECTRAL_NM", field] * len(NM)]
    sets = [
        f'"{name}" ' + " ".join(f"{nm} {scale * value:.6f}" for nm, value in zip(NM, own, strict=True))
        for name, own in spectra.items()
    ]
    return _exchange(fields, sets)


def _bands(spectra: Mapping[str, list[float]], prefix: str, scale: float) -> str:
    fields = ["SAMPLE_ID", *(f"{prefix}{nm}" for nm in NM)]
    sets = [f'"{name}" ' + " ".join(f"{scale * value:.6f}" for value in own) for name, own in spectra.items()]
    return _exchange(fields, sets)


def _exchange(fields: list[str], sets: list[str]) -> str:
    return "\n".join(
        [
            *("ISO28178", "BEGIN_DATA_FORMAT", " ".join(fields), "END_DATA_FORMAT", f"NUMBER_OF_SETS {len(sets)}"),
            *("BEGIN_DATA", *sets, "END_DATA", ""),
        ]
    )


_SPECTRA = st.dictionaries(
    st.text(st.sampled_from("ABcd12 "), min_size=1, max_size=5).map(str.strip).filter(bool),
    st.lists(st.integers(0, 10000).map(lambda n: n / 10000), min_size=len(NM), max_size=len(NM)),
    min_size=1,
    max_size=3,
).filter(lambda found: len({name.lower() for name in found}) == len(found))


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spectra=_SPECTRA)
def test_spectra_written_in_any_form_are_read_back(read: Read, spectra: Mapping[str, list[float]]) -> None:
    """The same spectra, as a table, as pairs in fractions or per cent, or a field a wavelength, come back equal."""
    forms = [
        read(_table(spectra)),
        read(_table(spectra, ",")),
        read(_pairs(spectra, "SPECTRAL_DEC", 1)),
        read(_pairs(spectra, "SPECTRAL_PCT", 100)),
        read(_bands(spectra, "SPECTRAL_", 100), full_scale=100),
        read(_bands(spectra, "SPECTRAL_NM", 1), full_scale=1),
        read(_bands(spectra, "nm", 1), full_scale=1),
    ]
    for found in forms:
        assert list(found) == list(spectra)
        for name, own in spectra.items():
            assert found[name].wavelength_nm.tolist() == NM
            np.testing.assert_allclose(found[name].transmittance, own, atol=1e-9)


def test_wavelengths_may_stand_in_any_order(read: Read) -> None:
    """A spectrum measured from red to blue is the same spectrum."""
    head, *lines = _table({"A": [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7]}).splitlines()
    (spectrum,) = read("\n".join([head, *lines[::-1]])).values()
    assert spectrum.wavelength_nm.tolist() == NM
    assert spectrum.transmittance.tolist() == [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7]


FLAT = {"A": [0.5] * len(NM)}


@pytest.mark.parametrize(
    ("text", "where", "rule", "value"),
    [
        (_table(FLAT).replace("380;0.5000", "380;50"), "line 2, column A", "between 0 and 1.1", "50"),
        (_table(FLAT).replace("380;0.5000", "380;-0.1"), "line 2, column A", "between 0 and 1.1", "-0.1"),
        (_table(FLAT).replace("380;0.5000", "380;-"), "line 2, column A", "between 0 and 1.1", "-"),
        (_table(FLAT).replace("380;0.5000", "380;x"), "line 2, column A", "must be a number", "x"),
        (_table(FLAT).replace("\n400;", "\n380;"), "column A", "positive and ascending", None),
        (_table(FLAT).replace("\n380;", "\n0;"), "line 2, column wavelength_nm", "greater than 0", "0"),
        (_table(FLAT).replace("wavelength_nm", "nm"), "line 1", "must have a column wavelength_nm", "nm, A"),
        ("wavelength_nm\n380\n", "line 1", "a column for each sample", None),
        ("wavelength_nm;A\n380;1\n", "column A", "at least 6 wavelengths", None),
        (_bands(FLAT, "SPECTRAL_", 1), "field SPECTRAL_380", "fractions or per cent", None),
        (_exchange(["SAMPLE_ID", "D_RED"], ["1 0.1"]), "line 2", "spectra must have fields", "SAMPLE_ID, D_RED"),
        (_exchange(["SPECTRAL_NM", "SPECTRAL_DEC"], ["380 0.1"]), "line 2", "SAMPLE_ID or SAMPLE_NAME", None),
        (_exchange(["SAMPLE_ID", "SPECTRAL_DEC"], ["A 0.1"]), "field SPECTRAL_DEC", "must follow a field", None),
        (_pairs(FLAT, "SPECTRAL_DEC", 2.5), "line 7, field SPECTRAL_DEC", "between 0 and 1.1", None),
        (_exchange(["SAMPLE_ID", "SPECTRAL_NM", "SPECTRAL_DEC"], ["A 380 1"]), "line 7", "6 wavelengths", None),
        (
            _exchange(["SAMPLE_ID", "SPECTRAL_NM", "SPECTRAL_DEC"], [*["A 380 1"] * 2]),
            "line 7",
            "6 wavelengths",
            None,
        ),
        (_pairs(FLAT, "SPECTRAL_DEC", 1).replace('"A"', '""'), "line 7, field SAMPLE_NAME", "name of its own", None),
    ],
)
def test_a_fault_in_spectra_is_named(read: Read, refused, text: str, where: str, rule: str, value: str | None) -> None:
    """Per cent taken for fractions, gaps, repeated wavelengths and unnamed samples are named with their place."""
    with refused("spectra.txt", where, rule=rule, value=value):
        read(text)


def test_a_sample_given_twice_is_refused(read: Read, refused) -> None:
    """Two spectra under one name: one of them would be lost."""
    text = _pairs({"A": FLAT["A"], "B": FLAT["A"]}, "SPECTRAL_DEC", 1)
    with refused("line 8, field SAMPLE_NAME", rule="name of its own", value="A"):
        read(text.replace('"B"', '"A"'))


def test_the_full_scale_is_one_or_a_hundred(read: Read) -> None:
    """No other scale is in use: a slip there would be taken for a filter."""
    with pytest.raises(ArgumentError, match="must be 1 or 100"):
        read(_table(FLAT), full_scale=10)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), text=st.sampled_from([_table(FLAT), _pairs(FLAT, "SPECTRAL_PCT", 100)]))
def test_damaged_spectra_are_read_or_refused(read: Read, well_said, data: st.DataObject, text: str) -> None:
    """A file cut off anywhere, or with bytes put into it, gives spectra or one well said error."""
    whole = text.encode()
    start = data.draw(st.integers(0, len(whole)))
    end = data.draw(st.integers(start, len(whole)))
    try:
        found = read(whole[:start] + data.draw(st.binary(max_size=6)) + whole[end:])
    except InputError as error:
        well_said(error, "spectra.txt")
        return
    assert all(np.isfinite(one.transmittance).all() for one in found.values())
