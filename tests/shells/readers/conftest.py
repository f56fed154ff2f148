"""What every refusal of an input must say."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import TypeAlias

import pytest

from wideroll.errors import InputError

Refused: TypeAlias = Callable[..., AbstractContextManager[None]]
WellSaid: TypeAlias = Callable[..., None]


@pytest.fixture(scope="session")
def well_said() -> WellSaid:
    """Assert that an input error says where, the rule and the mend, in one line without control characters."""

    def well_said(error: InputError, *where: str) -> None:
        for part in where:
            assert part in error.where
        assert error.rule
        assert error.mend.endswith(".")
        assert str(error).startswith(f"{error.where}: {error.rule}")
        assert str(error).endswith(error.mend)
        assert str(error).isprintable()

    return well_said


@pytest.fixture(scope="session")
def refused(well_said: WellSaid) -> Refused:
    """A context in which an input error must be raised that breaks the rule and shows the value."""

    @contextmanager
    def refused(*where: str, rule: str, value: object = None) -> Iterator[None]:
        with pytest.raises(InputError) as caught:
            yield
        well_said(caught.value, *where)
        assert rule in caught.value.rule
        assert value is None or str(value) in str(caught.value.value)

    return refused
