"""wideroll: from a coated roll's evidence to a release decision, a cut list and their proof."""

from importlib.metadata import version

__all__ = ["__version__"]

__version__ = version("wideroll")
