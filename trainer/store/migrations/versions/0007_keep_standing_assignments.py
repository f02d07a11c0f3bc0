"""Keep standing assignments

Whoever comes to a worksite has what is assigned there once and for all. Since when a person belongs
to a worksite is kept for it; of those who are there already, it is the day they were added. An
assignment keeps what was seen that made it needed.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0007"
down_revision = "0006"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()


def upgrade() -> None:
    op.create_table(
        "standing_assignment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("worksite_id", sa.Integer(), nullable=False),
        sa.Column("lesson", TEXT, nullable=False),
        sa.Column("class_slug", TEXT, nullable=False),
        sa.Column("days", sa.Integer(), nullable=True),
        sa.Column("begun_at", MOMENT, nullable=False),
        sa.Column("begun_by", sa.Integer(), nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.Column("ended_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["worksite_id"], ["worksite.id"], name=op.f("fk_standing_assignment_worksite_id_worksite")),
        sa.ForeignKeyConstraint(["begun_by"], ["person.id"], name=op.f("fk_standing_assignment_begun_by_person")),
        sa.ForeignKeyConstraint(["ended_by"], ["person.id"], name=op.f("fk_standing_assignment_ended_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_standing_assignment")),
    )
    op.create_index(op.f("ix_standing_assignment_worksite_id"), "standing_assignment", ["worksite_id"])
    op.add_column("membership", sa.Column("joined_at", MOMENT, nullable=True))
    op.add_column("assignment", sa.Column("seen", TEXT, nullable=False, server_default=""))


def downgrade() -> None:
    op.drop_column("assignment", "seen")
    op.drop_column("membership", "joined_at")
    op.drop_index(op.f("ix_standing_assignment_worksite_id"), table_name="standing_assignment")
    op.drop_table("standing_assignment")
