"""Keep who changed what, who signed in, and what is set

Two histories that only grow; settings chosen in the browser; records of one person that were
joined. Whoever coordinates keeps the right to see medical determinations, which from now on is a
right of its own.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

from trainer.store import triggers

revision = "0015"
down_revision = "0014"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()


def _points(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"))


def upgrade() -> None:
    op.create_table(
        "setting",
        sa.Column("name", TEXT, nullable=False),
        sa.Column("value", TEXT, nullable=False),
        sa.Column("set_at", MOMENT, nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=True),
        _points("setting", "set_by", "person"),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_setting")),
    )
    op.create_table(
        "merged_person",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("into_id", sa.Integer(), nullable=False),
        sa.Column("merged_at", MOMENT, nullable=False),
        sa.Column("merged_by", sa.Integer(), nullable=False),
        _points("merged_person", "person_id", "person"),
        _points("merged_person", "into_id", "person"),
        _points("merged_person", "merged_by", "person"),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_merged_person")),
    )
    op.create_index(op.f("ix_merged_person_into_id"), "merged_person", ["into_id"])
    op.create_table(
        "sign_in_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("device_id", sa.Integer(), nullable=True),
        sa.Column("worksite_id", sa.Integer(), nullable=True),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("address", TEXT, nullable=False),
        _points("sign_in_event", "person_id", "person"),
        _points("sign_in_event", "device_id", "device"),
        _points("sign_in_event", "worksite_id", "worksite"),
        _points("sign_in_event", "by_id", "person"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_event")),
    )
    op.create_index(op.f("ix_sign_in_event_person_id"), "sign_in_event", ["person_id"])
    op.create_table(
        "change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", MOMENT, nullable=False),
        sa.Column("by_number", TEXT, nullable=False),
        sa.Column("by_name", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("deed", TEXT, nullable=False),
        sa.Column("about_number", TEXT, nullable=False),
        sa.Column("about", TEXT, nullable=False),
        sa.Column("detail", TEXT, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
    )
    for column in ("at", "by_number", "kind", "about_number"):
        op.create_index(op.f(f"ix_change_{column}"), "change", [column])
    for table, sentence in (
        ("sign_in_event", "the history of signing in is never changed"),
        ("change", "the log of changes is never changed"),
    ):
        triggers.refuse_changes(table, sentence)
    op.execute(
        "INSERT INTO person_role (person_id, role) "
        "SELECT person_id, 'medical' FROM person_role WHERE role = 'coordinator'"
    )


def downgrade() -> None:
    op.execute("DELETE FROM person_role WHERE role = 'medical'")
    for table in ("change", "sign_in_event"):
        triggers.refuse_nothing(table)
    # Their indexes go with them.
    for table in ("change", "sign_in_event", "merged_person", "setting"):
        op.drop_table(table)
