"""Do long work in the background

A packet of a year, a table of a million entries or a roster of fifty thousand people takes longer
than somebody waits for a page. The work is kept as a row until a runner has done it, so a killed
process loses none of it; a file that it makes lies here in pieces, where any machine finds it.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0013"
down_revision = "0012"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()


def upgrade() -> None:
    op.create_table(
        "errand",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("once", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("about", TEXT, nullable=False),
        sa.Column("language", TEXT, nullable=False),
        sa.Column("asked_by", sa.Integer(), nullable=False),
        sa.Column("asked_at", MOMENT, nullable=False),
        sa.Column("state", TEXT, nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("alive_at", MOMENT, nullable=True),
        sa.Column("step", sa.Integer(), nullable=False),
        sa.Column("steps", sa.Integer(), nullable=False),
        sa.Column("said", TEXT, nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.Column("file_name", TEXT, nullable=False),
        sa.Column("file_type", TEXT, nullable=False),
        sa.Column("file_size", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["asked_by"], ["person.id"], name=op.f("fk_errand_asked_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_errand")),
        sa.UniqueConstraint("once", name=op.f("uq_errand_once")),
    )
    op.create_index(op.f("ix_errand_asked_by"), "errand", ["asked_by"])
    op.create_index(op.f("ix_errand_state"), "errand", ["state"])
    op.create_table(
        "errand_part",
        sa.Column("errand_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["errand_id"], ["errand.id"], name=op.f("fk_errand_part_errand_id_errand")),
        sa.PrimaryKeyConstraint("errand_id", "place", name=op.f("pk_errand_part")),
    )


def downgrade() -> None:
    op.drop_table("errand_part")
    op.drop_table("errand")
