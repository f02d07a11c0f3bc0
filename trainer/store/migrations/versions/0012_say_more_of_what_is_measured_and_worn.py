"""Say more of what is measured and worn at a worksite

A trainer's own substance may have its molecular weight, so that a sample in the other unit can be
entered; what was typed is kept beside. A respirator of a task has its style and its sizes.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0012"
down_revision = "0011"

TEXT = sqlmodel.sql.sqltypes.AutoString()


def upgrade() -> None:
    op.add_column("site_hazard", sa.Column("molecular_weight", sa.Float(), nullable=True))
    op.add_column("sample", sa.Column("as_measured", TEXT, nullable=False, server_default=""))
    for column in ("style", "sizes"):
        op.add_column("task_respirator", sa.Column(column, TEXT, nullable=False, server_default=""))


def downgrade() -> None:
    for table, column in (
        ("task_respirator", "sizes"), ("task_respirator", "style"),
        ("sample", "as_measured"), ("site_hazard", "molecular_weight"),
    ):
        with op.batch_alter_table(table) as batch:
            batch.drop_column(column)
