"""wideroll: from a coated roll's evidence to a release decision, a cut list and their proof."""

from importlib.metadata import version
from pathlib import Path

from wideroll.compiled import keep_compiled_code

__all__ = ["__version__"]

__version__ = version("wideroll")

keep_compiled_code(Path(__file__).parent)
