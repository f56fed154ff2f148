"""Whom the provider's claims mean at the desk: a name, how they stand in the record, and roles."""

from typing import Any, Final

from starlette.requests import Request

from wideroll.errors import InputError
from wideroll.people import (
    ROLES,
    PersonCard,
    Provider,
    add_person,
    change_person,
    check_name,
    find_person,
    find_provided,
)
from wideroll.server.entrance import entrance_of
from wideroll.server.login.provider import Facts

__all__ = ["person_for", "roles_in"]

_BY_PROVIDER: Final = "the provider of names"
_NO_ROLE: Final = "gives no role at this desk"
_SHUT_OUT: Final = "names somebody who may no longer come in"


def person_for(request: Request, provider: Provider, facts: Facts) -> PersonCard:
    """The person, added at their first coming, with the roles that the provider says now.

    They are known again by the provider's subject, not by a name that may have passed to somebody else; a name that
    somebody here has already is never taken over.

    Raises:
        InputError: when the claims give no role here or no name, the name is taken, or the person is disabled.
    """
    entrance = entrance_of(request)
    database, hand = entrance.made_database(), entrance.hand(_BY_PROVIDER, request)
    roles, card = roles_in(provider, facts), find_provided(database, facts.subject)
    if not roles:
        raise _refuse(_NO_ROLE, "Ask whoever keeps the provider's groups for one.")
    if card is not None and card.disabled:
        raise _refuse(_SHUT_OUT, "Ask an administrator of the desk.")
    if card is not None:
        return card if card.roles == roles else change_person(database, hand, card.name, roles=roles)
    name = check_name(str(facts.claims.get(provider.name_claim, "")).partition("@")[0])
    if find_person(database, name) is not None:
        rule = f"names {name}, whom the desk knows otherwise"
        raise _refuse(rule, "Log in by password, or ask an administrator.")
    shown = str(facts.claims.get(provider.shown_claim) or name)
    return add_person(
        database, hand, name=name, shown=shown, roles=roles, provided=facts.subject, cost=entrance.rules.cost
    )


def roles_in(provider: Provider, facts: Facts) -> tuple[str, ...]:
    """The roles that the claim gives, in the order of all roles."""
    said: Any = facts.claims.get(provider.roles_claim, ())
    values = said if isinstance(said, list) else [said]
    given = {role for value, role in provider.roles.items() if value in values}
    return tuple(role for role in ROLES if role in given)


def _refuse(rule: str, mend: str) -> InputError:
    return InputError(where=_BY_PROVIDER, rule=rule, mend=mend)
