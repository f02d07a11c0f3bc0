"""Describe the air of a worksite

Tasks, what is in their air, what was measured, and which respirators are worn there: from these
it is checked whether a respirator is enough. Rows are ended and never deleted.
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    for name in ("emergency_steps", "storage_place"):
        op.add_column(
            "worksite", sa.Column(name, sa.String(), nullable=False, server_default="")
        )
    _described(
        "task",
        sa.Column("worksite_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        owner="worksite",
    )
    _described(
        "site_hazard",
        sa.Column("task_id", sa.Integer(), nullable=False),
        sa.Column("substance", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("limit", sa.Float(), nullable=True),
        sa.Column("limit_kind", sa.String(), nullable=False),
        sa.Column("limit_source", sa.String(), nullable=False),
        sa.Column("idlh", sa.Float(), nullable=True),
        sa.Column("oil", sa.Boolean(), nullable=False),
        sa.Column("eye_irritation", sa.Boolean(), nullable=False),
        sa.Column("oxygen_percent", sa.Float(), nullable=False),
        sa.Column("described_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("described_by", sa.Integer(), nullable=False),
        owner="task",
        by="described_by",
    )
    _described(
        "sample",
        sa.Column("hazard_id", sa.Integer(), nullable=False),
        sa.Column("measured_on", sa.Date(), nullable=False),
        sa.Column("hours", sa.Float(), nullable=False),
        sa.Column("concentration", sa.Float(), nullable=False),
        sa.Column("entered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entered_by", sa.Integer(), nullable=False),
        owner="site_hazard",
        key="hazard_id",
        by="entered_by",
    )
    _described(
        "task_respirator",
        sa.Column("task_id", sa.Integer(), nullable=False),
        sa.Column("class_slug", sa.String(), nullable=False),
        sa.Column("make", sa.String(), nullable=False),
        sa.Column("model", sa.String(), nullable=False),
        sa.Column("filter_class", sa.String(), nullable=False),
        sa.Column("cartridge", sa.String(), nullable=False),
        sa.Column("serves", sa.Boolean(), nullable=False),
        sa.Column("cartridge_limit", sa.Float(), nullable=True),
        sa.Column("approval", sa.String(), nullable=False),
        sa.Column("schedule_hours", sa.Float(), nullable=True),
        sa.Column("schedule_basis", sa.String(), nullable=False),
        sa.Column("indicator", sa.Boolean(), nullable=False),
        sa.Column("eye_protection", sa.Boolean(), nullable=False),
        sa.Column("hood_evidence", sa.Boolean(), nullable=False),
        sa.Column("described_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("described_by", sa.Integer(), nullable=False),
        owner="task",
        by="described_by",
    )


def downgrade() -> None:
    for name in ("task_respirator", "sample", "site_hazard", "task"):
        op.drop_table(name)
    for name in ("storage_place", "emergency_steps"):
        op.drop_column("worksite", name)


def _described(
    name: str, *columns: sa.Column, owner: str, key: str = "", by: str = ""
) -> None:
    """Make a table whose rows belong to an owner, are ended and never deleted."""
    key = key or f"{owner}_id"
    kept = [sa.ForeignKeyConstraint([key], [f"{owner}.id"], name=f"fk_{name}_{key}_{owner}")]
    if by:
        kept.append(
            sa.ForeignKeyConstraint([by], ["person.id"], name=f"fk_{name}_{by}_person")
        )
    op.create_table(
        name,
        sa.Column("id", sa.Integer(), nullable=False),
        *columns,
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        *kept,
        sa.PrimaryKeyConstraint("id", name=f"pk_{name}"),
    )
    op.create_index(f"ix_{name}_{key}", name, [key])
