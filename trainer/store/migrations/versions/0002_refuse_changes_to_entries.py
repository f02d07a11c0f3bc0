"""Refuse changes to entries

The program never changes an entry; the triggers stop a slip of a later program, or of a
hand at the database, from doing so unnoticed.
"""

from trainer.store import triggers

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    triggers.refuse_changes("entry", "an entry of the record is never changed")


def downgrade() -> None:
    triggers.refuse_nothing("entry")
