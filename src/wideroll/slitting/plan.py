"""In the making."""

from collections.abc import Sequence

from wideroll.roll import Extent
from wideroll.slitting.model import Avoid, CutPlan, CutRules, SlitWidth

__all__ = ["plan_cut"]


def plan_cut(
    whole: Extent, *, avoid: Sequence[Avoid], widths: Sequence[SlitWidth], rules: CutRules | None = None
) -> CutPlan:
    """In the making."""
    raise NotImplementedError
