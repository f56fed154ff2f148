"""The scales of greys: how far the signal departs from that of its surroundings, the same at every zoom."""

from typing import TYPE_CHECKING, Final

from wideroll.server.viewer.segments import Layer

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["MIDDLE", "REACH", "SCALE_VERSION", "TICKS", "UNSEEN", "grey_of", "to_grey"]

SCALE_VERSION: Final = 1
UNSEEN: Final = 0
"""Nobody looked there; clear in a picture."""
MIDDLE: Final = 128
"""No departure."""
REACH: Final = 0.5
"""From this departure on, cells are black (1) or white (255)."""
TICKS: Final = (-0.5, -0.2, -0.1, -0.05, -0.01, 0.0, 0.01, 0.05, 0.1, 0.2, 0.5)
_STEPS: Final = 127


def to_grey(departure: "NDArray[np.floating]", layer: Layer) -> "NDArray[np.uint8]":
    """Greys from 1 (darker by half or more) to 255 (brighter by half or more); 0 where it is NaN.

    With s = min(|departure|, 0.5) / 0.5 the grey is 128 ± 127 √s in ``mean``, where a faint streak is to be seen, and
    128 ± 127 s in ``worst``, where a spot is to stand out of the noise; rounded to the nearest, halves to even.

    Args:
        departure: of the signal from the level of its surroundings, as a fraction of it.
        layer: that it is of.

    Example:
        >>> import numpy as np
        >>> values = np.array([-0.6, -0.02, 0.0, 0.125, np.nan])
        >>> to_grey(values, "mean").tolist(), to_grey(values, "worst").tolist()
        ([1, 103, 128, 192, 0], [1, 123, 128, 160, 0])
    """
    import numpy as np  # noqa: PLC0415  (slow to load)

    seen = np.isfinite(departure)
    away = np.where(seen, departure, 0.0)
    share = np.minimum(np.abs(away), REACH) / REACH
    steps = np.round(_STEPS * (np.sqrt(share) if layer == "mean" else share))
    return np.where(seen, MIDDLE + np.copysign(steps, away), UNSEEN).astype(np.uint8)


def grey_of(departure: float, layer: Layer) -> int:
    """The grey of one departure.

    Example:
        >>> grey_of(0.5, "mean")
        255
    """
    import numpy as np  # noqa: PLC0415  (slow to load)

    return int(to_grey(np.array([departure]), layer)[0])
