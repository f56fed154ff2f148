"""``python -m wideroll`` is the ``wideroll`` command."""

import sys

from wideroll.cli import main

__all__: list[str] = []

sys.exit(main())
