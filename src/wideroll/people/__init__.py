"""Who may use the desk, and for what: people with their roles and passwords, sessions, tokens, and a log of it all.

All of it lies in ``desk.db`` in the plant's folder, an SQLite file for its owner alone. It isn't in the record: what
goes with a login is looked up at each request, must be quick to open when the desk starts, and ends; an event never
does.
"""

from wideroll.people.attempts import Attempts, Patience
from wideroll.people.database import DESK_DB, DeskDatabase, desk_database
from wideroll.people.desk_file import DESK_FILE, DeskFile, Provider, read_desk_file
from wideroll.people.listing import find_person, find_provided, list_people, people_there
from wideroll.people.log import Kind, Logged, read_log, write_log
from wideroll.people.model import ACT_WORDS, ACTS, ROLES, Act, Hand, PersonCard, acts_of, check_name, check_shown
from wideroll.people.passwords import Cost
from wideroll.people.persons import add_person, change_person, set_password
from wideroll.people.proving import check_password
from wideroll.people.sessions import Lengths, Session, close_session, open_session, session_of
from wideroll.people.tokens import TokenCard, list_tokens, make_token, revoke_token, token_of

__all__ = [
    "ACTS",
    "ACT_WORDS",
    "DESK_DB",
    "DESK_FILE",
    "ROLES",
    "Act",
    "Attempts",
    "Cost",
    "DeskDatabase",
    "DeskFile",
    "Hand",
    "Kind",
    "Lengths",
    "Logged",
    "Patience",
    "PersonCard",
    "Provider",
    "Session",
    "TokenCard",
    "acts_of",
    "add_person",
    "change_person",
    "check_name",
    "check_password",
    "check_shown",
    "close_session",
    "desk_database",
    "find_person",
    "find_provided",
    "list_people",
    "list_tokens",
    "make_token",
    "open_session",
    "people_there",
    "read_desk_file",
    "read_log",
    "revoke_token",
    "session_of",
    "set_password",
    "token_of",
    "write_log",
]
