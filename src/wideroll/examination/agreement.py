"""Whether two examiners grade alike, beyond what chance would give."""

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from wideroll.errors import ArgumentError
from wideroll.examination.model import Agreement

__all__ = ["cohen_kappa"]


def cohen_kappa(table: Sequence[Sequence[int]], confidence: float = 0.95) -> Agreement:
    """Cohen's kappa of two examiners who graded the same sheets.

    κ = (p_o − p_e)/(1 − p_e), with the large-sample standard error of Fleiss, Cohen and Everitt (1969, *Psychological
    Bulletin* 72:323–327; formula from memory, checked against published output).

    Args:
        table: (n, n) counts; row is the first examiner's grade, column the second's.
        confidence: of the interval, between 0 and 1.

    Raises:
        ArgumentError: when the table isn't square, has a negative count, holds nothing, or everything lies in one
            grade, where agreement beyond chance has no meaning.

    Example:
        >>> round(cohen_kappa([[0, 4, 1], [0, 8, 0], [0, 1, 5]]).kappa, 4)
        0.4842
    """
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or counts.min(initial=0) < 0 or counts.sum() == 0:  # noqa: PLR2004 - a table has two axes
        raise ArgumentError(
            where="table",
            rule="must be square, not negative and not empty",
            value=counts.tolist(),
            mend="Count how often each pair of grades was given.",
        )
    if not 0.0 < confidence < 1.0:
        raise ArgumentError(
            where="confidence", rule="must lie between 0 and 1", value=confidence, mend="Give for example 0.95."
        )
    share = counts / counts.sum()
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    agreed, chance = float(np.trace(share)), float(rows @ columns)
    if chance >= 1.0:
        raise ArgumentError(
            where="table",
            rule="more than one grade must have been given",
            value=counts.tolist(),
            mend="Add sheets of other grades.",
        )
    kappa = (agreed - chance) / (1.0 - chance)
    both = rows[None, :] + columns[:, None]
    diagonal = np.diag(share) @ (1.0 - (rows + columns) * (1.0 - kappa)) ** 2
    crossed = (1.0 - kappa) ** 2 * float(np.sum((share - np.diag(np.diag(share))) * both**2))
    last = (kappa - chance * (1.0 - kappa)) ** 2
    error = math.sqrt(max(float(diagonal) + crossed - last, 0.0) / counts.sum()) / (1.0 - chance)
    half = float(ndtri(0.5 + confidence / 2.0)) * error
    return Agreement(
        judged=int(counts.sum()),
        kappa=kappa,
        standard_error=error,
        low=kappa - half,
        high=min(kappa + half, 1.0),
        confidence=confidence,
    )
