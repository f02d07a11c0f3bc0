"""Count the savings of an answer

A page saves by itself while an answer is put together. Such a saving can reach the server after
the whole answer that the button sent; the count tells that it is older.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.add_column(
        "sitting_item", sa.Column("savings", sa.Integer(), nullable=False, server_default="0")
    )


def downgrade() -> None:
    op.drop_column("sitting_item", "savings")
