"""Who acts, for the record."""

import getpass

from wideroll.errors import InputError

__all__ = ["who_acts"]


def who_acts(who: str | None) -> str:
    """The name for the record: the one given, or else the one logged in with.

    Args:
        who: as given; None takes the one logged in with.

    Raises:
        InputError: when there is neither.
    """
    try:
        return who or getpass.getuser()
    except (KeyError, OSError, ImportError) as error:
        raise InputError(
            where="--who", rule="the record must say who acts, and nobody is logged in", mend="Give --who NAME."
        ) from error
