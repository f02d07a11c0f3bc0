"""Refuse changes to entries

The program never changes an entry; the triggers stop a slip of a later program, or of a
hand at the database, from doing so unnoticed.
"""

from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    for deed in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER entry_refuses_{deed.lower()} BEFORE {deed} ON entry "
            "BEGIN SELECT RAISE(ABORT, 'an entry of the record is never changed'); END"
        )


def downgrade() -> None:
    for deed in ("update", "delete"):
        op.execute(f"DROP TRIGGER entry_refuses_{deed}")
