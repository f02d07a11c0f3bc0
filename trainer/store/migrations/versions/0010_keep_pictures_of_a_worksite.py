"""Keep pictures of a worksite

A trainer shows in a worksite lesson what this place looks like. The picture is kept as it was made
safe, with what it shows in words; the same one twice at a worksite is one row.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0010"
down_revision = "0009"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()


def upgrade() -> None:
    op.create_table(
        "picture",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("worksite_id", sa.Integer(), nullable=False),
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("description_en", TEXT, nullable=False),
        sa.Column("description_es", TEXT, nullable=False),
        sa.Column("added_at", MOMENT, nullable=False),
        sa.Column("added_by", sa.Integer(), nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["added_by"], ["person.id"], name=op.f("fk_picture_added_by_person")),
        sa.ForeignKeyConstraint(["worksite_id"], ["worksite.id"], name=op.f("fk_picture_worksite_id_worksite")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_picture")),
        sa.UniqueConstraint("worksite_id", "sha256", name=op.f("uq_picture_worksite_id")),
    )


def downgrade() -> None:
    op.drop_table("picture")
