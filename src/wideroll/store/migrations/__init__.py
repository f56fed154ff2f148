"""How the record's database is made, and brought from each older form to today's, losing no event."""

from wideroll.store.migrations.running import NEWEST, bring_up_to_date, revision_of

__all__ = ["NEWEST", "bring_up_to_date", "revision_of"]
