from pathlib import Path

import numpy as np
import pytest

from wideroll.errors import InputError
from wideroll.readers import PlantFolder
from wideroll.readers.models import ProductFile
from wideroll.readers.toml_files import placed, read_toml
from wideroll.sensitometry import STATUS_A, STATUS_M, dye_matrix
from wideroll.synthetic.dyes import make_dyes

AIMS = """
tolerance_density = 0.1
log_h = [-3.0, -2.0, -1.5, -1.0, 0.0]
red = [0.2, 0.3, 0.8, 1.4, 2.2]
green = [0.2, 0.3, 0.8, 1.4, 2.2]
blue = [0.2, 0.3, 0.8, 1.4, 2.2]
"""
PRODUCT = """
film_type = "colour negative"
sensitisation_nm = [[380, 690]]
[aims]{aims}{more}
[reference]
limit_density = 0.05
[reference.aims]{aims}
[[criteria]]
name = "Coverage"
measurand = "coverage"
limit = 0.9
unit = "share"
consequence = "hold"
subject = "scan"
[[widths]]
name = "35"
width = "35 mm"
tolerance = "0.025 mm"
value_per_m = 1.0
"""
MATRIX = "[[1.0, 0.1, 0.0], [0.1, 1.0, 0.1], [0.0, 0.2, 1.0]]"


@pytest.fixture
def read(tmp_path: Path):
    """A product file with more at its end and in its aims, read and built."""

    def read(more, in_aims="", aims=AIMS):
        path = tmp_path / "film.toml"
        path.write_text(PRODUCT.format(aims=aims, more=in_aims) + more, encoding="utf-8")
        with placed(path):
            return read_toml(path, ProductFile).build("film", tmp_path)

    return read


def write_spectra(folder: Path, *, names="cyan,magenta,yellow,base", density=None):
    """Invented dyes as a file of spectra; what was written."""
    dyes = make_dyes(masked=True)
    columns = 10.0 ** -np.vstack([dyes.density if density is None else density, dyes.base])
    lines = [f"wavelength_nm,{names}"]
    lines += [
        ",".join([f"{nm:g}", *(repr(float(t)) for t in row)])
        for nm, row in zip(dyes.wavelength_nm, columns.T, strict=True)
    ]
    (folder / "dyes.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return dyes


def test_a_matrix_is_the_films_and_its_reference_films(read):
    """A matrix with its uncertainty holds for product and reference film; one of the reference's own goes first."""
    plain = read(f"[dyes]\nmatrix = {MATRIX}\nmatrix_uncertainty = {MATRIX}")
    for aims in (plain.aims, plain.reference_aims):
        assert aims.dyes.matrix.tolist() == [[1.0, 0.1, 0.0], [0.1, 1.0, 0.1], [0.0, 0.2, 1.0]]
        assert aims.dyes.standard_uncertainty.tolist() == aims.dyes.matrix.tolist()
    own = read(f"[dyes]\nmatrix = {MATRIX}\n[reference.dyes]\nmatrix = [[2.0, 0, 0], [0, 2.0, 0], [0, 0, 2.0]]")
    assert own.aims.dyes.matrix[0, 0] == 1.0
    assert own.reference_aims.dyes.matrix[0, 0] == 2.0
    assert own.reference_aims.dyes.standard_uncertainty is None


def test_without_dyes_there_are_none(read):
    """A product file without the table has none."""
    assert read("").aims.dyes is None
    assert read("").reference_aims.dyes is None


@pytest.mark.parametrize(("status", "products"), [("M", STATUS_M), ("A", STATUS_A)])
def test_spectra_give_their_matrix(read, tmp_path, status, products):
    """Spectra beside the product are read into the matrix that the room computes from the dyes themselves."""
    dyes = write_spectra(tmp_path)
    made = read(f'[dyes]\nspectra = "dyes.csv"\nstatus = "{status}"\namount = 0.5')
    assert made.aims.dyes.matrix == pytest.approx(dye_matrix(dyes, products, amount=0.5), rel=1e-12)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("", "either a matrix"),
        (f'matrix = {MATRIX}\nspectra = "dyes.csv"\nstatus = "M"', "either a matrix"),
        ('spectra = "dyes.csv"', "either a matrix"),
        (f'matrix = {MATRIX}\nstatus = "M"', "either a matrix"),
        (f"matrix = {MATRIX}\namount = 0.5", "goes with spectra"),
        (f"matrix = {MATRIX}\nmatrix_uncertainty = [[0, 0, 0], [0, -0.1, 0], [0, 0, 0]]", "aren't negative"),
        ("matrix = [[1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [0.0, 0.2, 1.0]]", "told apart"),
        ("matrix = [[1.0, 1.0], [1.0, 1.0]]", "matrix"),
        ('spectra = "../dyes.csv"\nstatus = "M"', "name of a file beside"),
        ('spectra = "none.csv"\nstatus = "M"', "must be there"),
        ('spectra = "dyes.csv"\nstatus = "T"', "status"),
    ],
)
def test_a_wrong_table_is_refused(read, tmp_path, table, said):
    """What isn't one matrix or one file of spectra is refused by name and rule."""
    write_spectra(tmp_path)
    with pytest.raises(InputError) as caught:
        read(f"[dyes]\n{table}")
    assert said in str(caught.value)
    assert "dyes" in str(caught.value) or "none.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("names", "density", "said"),
    [
        ("cyan,magenta,green,base", None, "columns cyan, magenta, yellow"),
        ("cyan,magenta,yellow,base", np.full((3, 41), 400.0), "some light passes"),
        ("cyan,magenta,yellow,base", np.ones((3, 41)), "told apart"),
    ],
)
def test_wrong_spectra_are_refused(read, tmp_path, names, density, said):
    """Columns that aren't the dyes', light that doesn't pass and dyes that are alike are refused with the file."""
    write_spectra(tmp_path, names=names, density=density)
    with pytest.raises(InputError) as caught:
        read('[dyes]\nspectra = "dyes.csv"\nstatus = "M"')
    assert said in str(caught.value)
    assert "dyes.csv" in str(caught.value)


def test_dyes_need_three_records(read):
    """Dyes of a product without an aim in each colour are refused."""
    with pytest.raises(InputError, match="red, green and blue"):
        read(f"[dyes]\nmatrix = {MATRIX}", aims=AIMS.partition("green")[0])


def test_aims_say_what_is_read_off_and_how_shapes_spread(read):
    """Log H at which densities are stated and the spread of shapes come from the file; a log H given twice doesn't."""
    made = read("", in_aims="densities_at_log_h = [-2.0, -1.0]\nshape_spread = [0.03, 0.1]\n")
    assert made.aims.densities_at_log_h == (-2.0, -1.0)
    assert made.aims.shape_spread == (0.03, 0.1)
    assert made.reference_aims.densities_at_log_h == ()
    for wrong, said in (
        ("densities_at_log_h = [1.0, 1.0]", "given once"),
        ("shape_spread = [0.03, 0]", "shape_spread"),
    ):
        with pytest.raises(InputError, match=said):
            read("", in_aims=f"{wrong}\n")


def test_the_spectra_are_among_a_decisions_inputs(tmp_path):
    """A file of spectra that a product names is hashed with the rest of what a decision depends on."""
    products = tmp_path / "products"
    products.mkdir()
    write_spectra(products)
    text = PRODUCT.format(aims=AIMS, more="") + '[dyes]\nspectra = "dyes.csv"\nstatus = "M"\n'
    (products / "film.toml").write_text(text, encoding="utf-8")
    folder = PlantFolder(tmp_path)
    assert products / "dyes.csv" in folder.inputs("R-1", "film")
    assert folder.product("film").aims.dyes is not None
