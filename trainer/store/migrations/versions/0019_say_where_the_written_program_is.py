"""Say where the written program of a worksite is kept

An inspector asks first for the written program: where it is kept, its date, who administers it.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0019"
down_revision = "0017"

TEXT = sqlmodel.sql.sqltypes.AutoString()


def upgrade() -> None:
    for column in ("program_place", "program_by"):
        op.add_column("worksite", sa.Column(column, TEXT, nullable=False, server_default=""))
    op.add_column("worksite", sa.Column("program_on", sa.Date(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("worksite") as batch:
        for column in ("program_on", "program_by", "program_place"):
            batch.drop_column(column)
