"""What is left of whitened deviations by each explanation of them: least squares on small designs, compiled.

There are a dozen designs a strip, of at most a few dozen rows: calls would cost more than the sums.
"""

import numpy as np
from numba import njit

from wideroll.sensitometry.model import Floats

__all__ = ["common_design", "record_design", "squares_left"]


def common_design(whitening: Floats, response: Floats) -> Floats:
    """Columns (3n, n) of a change of 1 common to all records at each level, by their response (n, 3), whitened."""
    design: Floats = np.einsum("ilr,lr->il", whitening.reshape(-1, *response.shape), response)
    return design


def record_design(whitening: Floats, place: int, records: int) -> Floats:
    """Columns (3n, n) of a change of 1 in one record at each level, whitened."""
    return whitening.reshape(len(whitening), -1, records)[:, :, place]


@njit(cache=True, nogil=True, error_model="numpy")
def squares_left(whitening: Floats, y: Floats, responses: Floats) -> Floats:
    """Squares (k + r + r·k) left by each of k responses, each of r records, each record with each response.

    Args:
        whitening: inverse (m, m) of the lower root of the covariance, level by level, records within each.
        y: whitened deviations (m,).
        responses: (k, n, r), with n·r = m.
    """
    tried, levels, records = responses.shape
    size = len(y)
    found = np.empty(tried + records + records * tried)
    basis = np.empty((2 * levels, size))
    for first in range(tried):
        _common(whitening, responses[first], basis)
        _orthogonal(basis, 0, levels)
        found[first] = _rest(basis, levels, y)
        for record in range(records):
            _own(whitening, record, records, basis, levels)
            _orthogonal(basis, levels, 2 * levels)
            found[tried + records + record * tried + first] = _rest(basis, 2 * levels, y)
    for record in range(records):
        _own(whitening, record, records, basis, 0)
        _orthogonal(basis, 0, levels)
        found[tried + record] = _rest(basis, levels, y)
    return found


@njit(cache=True, nogil=True, error_model="numpy")
def _common(whitening: Floats, response: Floats, basis: Floats) -> None:
    levels, records = response.shape
    for level in range(levels):
        for i in range(len(whitening)):
            basis[level, i] = 0.0
            for record in range(records):
                basis[level, i] += whitening[i, level * records + record] * response[level, record]


@njit(cache=True, nogil=True, error_model="numpy")
def _own(whitening: Floats, record: int, records: int, basis: Floats, start: int) -> None:
    for level in range(len(whitening) // records):
        for i in range(len(whitening)):
            basis[start + level, i] = whitening[i, level * records + record]


@njit(cache=True, nogil=True, error_model="numpy")
def _orthogonal(basis: Floats, start: int, end: int) -> None:
    """Make rows from start to end orthonormal to one another and to those before (Gram and Schmidt, twice)."""
    for row in range(start, end):
        for _ in range(2):
            for before in range(row):
                share = 0.0
                for i in range(basis.shape[1]):
                    share += basis[row, i] * basis[before, i]
                for i in range(basis.shape[1]):
                    basis[row, i] -= share * basis[before, i]
            length = 0.0
            for i in range(basis.shape[1]):
                length += basis[row, i] ** 2
            basis[row] /= np.sqrt(length)


@njit(cache=True, nogil=True, error_model="numpy")
def _rest(basis: Floats, rows: int, y: Floats) -> float:
    left = y.copy()
    for row in range(rows):
        share = 0.0
        for i in range(len(y)):
            share += basis[row, i] * y[i]
        for i in range(len(y)):
            left[i] -= share * basis[row, i]
    squares = 0.0
    for one in left:
        squares += one * one
    return squares
