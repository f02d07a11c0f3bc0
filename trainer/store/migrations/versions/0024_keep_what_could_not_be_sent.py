"""Keep what somebody typed and could not send

A sign-in runs out in the middle of an answer; after signing in again, it comes back. And the keys
of forms that were sent: pressed twice, a form that adds something adds it once.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0024"
down_revision = "0021"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()


def upgrade() -> None:
    op.create_table(
        "unsent",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("page", TEXT, nullable=False),
        sa.Column("action", TEXT, nullable=False),
        sa.Column("fields", TEXT, nullable=False),
        sa.Column("kept_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_unsent_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_unsent")),
    )
    op.create_index(op.f("ix_unsent_person_id"), "unsent", ["person_id"])
    op.create_table(
        "sent_form",
        sa.Column("once", TEXT, nullable=False),
        sa.Column("sent_at", MOMENT, nullable=False),
        sa.PrimaryKeyConstraint("once", name=op.f("pk_sent_form")),
    )
    op.create_index(op.f("ix_sent_form_sent_at"), "sent_form", ["sent_at"])


def downgrade() -> None:
    op.drop_table("sent_form")
    op.drop_table("unsent")
