"""Keep refreshers, and which sections were heard

A refresher is a sitting that belongs to no lesson but to a training that is complete, one, three
or six months after it. A short putting on is watched for the last. A section that was read aloud
to its end is known as heard.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.add_column(
        "lesson_place",
        sa.Column("sections_heard", sa.String(), nullable=False, server_default=""),
    )
    op.add_column("sitting", sa.Column("months", sa.Integer(), nullable=True))
    op.add_column("sitting", sa.Column("after", sa.Integer(), nullable=True))
    op.add_column("practice", sa.Column("refreshes", sa.Integer(), nullable=True))


def downgrade() -> None:
    op.drop_column("practice", "refreshes")
    op.drop_column("sitting", "after")
    op.drop_column("sitting", "months")
    op.drop_column("lesson_place", "sections_heard")
