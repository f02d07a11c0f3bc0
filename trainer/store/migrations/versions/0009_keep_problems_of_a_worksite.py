"""Keep problems of a worksite

A problem with the numbers of a worksite is kept with the row that opened it: when the worksite
measures again, the problem under a person's hands stays as it was.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0009"
down_revision = "0008"

TEXT = sqlmodel.sql.sqltypes.AutoString()


def upgrade() -> None:
    op.add_column(
        "lesson_answer", sa.Column("following", TEXT, nullable=False, server_default="")
    )


def downgrade() -> None:
    op.drop_column("lesson_answer", "following")
