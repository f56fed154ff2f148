"""Where on a drawn picture its scales lie, for whoever lays something over it."""

from dataclasses import dataclass

from matplotlib.axes import Axes

__all__ = ["Frame", "frame_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The rectangle between the scales, in shares of the picture's width and height, from its top left corner.

    ``x_from`` and ``x_to`` are what the scale has at its left and right, ``y_from`` and ``y_to`` at bottom and top.
    """

    left: float
    top: float
    width: float
    height: float
    x_from: float
    x_to: float
    y_from: float
    y_to: float


def frame_of(axes: Axes) -> Frame:
    """The frame of a pair of axes that fills the place it was given.

    Args:
        axes: of a figure that is drawn as it is, without being cropped.
    """
    place = axes.get_position()
    (x_from, x_to), (y_from, y_to) = axes.get_xlim(), axes.get_ylim()
    return Frame(
        left=float(place.x0),
        top=float(1.0 - place.y1),
        width=float(place.width),
        height=float(place.height),
        x_from=float(x_from),
        x_to=float(x_to),
        y_from=float(y_from),
        y_to=float(y_to),
    )
