"""Bring tables in

A roster or a past record is brought as a file. It is kept until it is done with: what its lines
would do is shown before anything is done, and what was done can be taken back as a whole.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0016"
down_revision = "0015"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()
REFERRING = (("respirator", "given_by"), ("assignment", "assigned_by"), ("practice", "trainer_id"))


def upgrade() -> None:
    op.create_table(
        "import_run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("once", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("file_name", TEXT, nullable=False),
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("brought_by", sa.Integer(), nullable=False),
        sa.Column("brought_at", MOMENT, nullable=False),
        sa.Column("state", TEXT, nullable=False),
        sa.Column("read", TEXT, nullable=False),
        sa.Column("matched", TEXT, nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("tried_at", MOMENT, nullable=True),
        sa.Column("said", TEXT, nullable=False),
        sa.Column("done_at", MOMENT, nullable=True),
        sa.Column("done_by", sa.Integer(), nullable=True),
        sa.Column("undone_at", MOMENT, nullable=True),
        sa.Column("undone_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["brought_by"], ["person.id"], name=op.f("fk_import_run_brought_by_person")),
        sa.ForeignKeyConstraint(["done_by"], ["person.id"], name=op.f("fk_import_run_done_by_person")),
        sa.ForeignKeyConstraint(["undone_by"], ["person.id"], name=op.f("fk_import_run_undone_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_run")),
        sa.UniqueConstraint("once", name=op.f("uq_import_run_once")),
    )
    op.create_index(op.f("ix_import_run_sha256"), "import_run", ["sha256"])
    op.create_table(
        "import_part",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["import_run.id"], name=op.f("fk_import_part_run_id_import_run")),
        sa.PrimaryKeyConstraint("run_id", "place", name=op.f("pk_import_part")),
    )
    op.create_table(
        "import_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("state", TEXT, nullable=False),
        sa.Column("doubt", TEXT, nullable=False),
        sa.Column("number", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("decision", TEXT, nullable=False),
        sa.Column("said", TEXT, nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["import_run.id"], name=op.f("fk_import_line_run_id_import_run")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_line")),
    )
    op.create_index("ix_import_line_run", "import_line", ["run_id", "state", "line"])
    # Deleting somebody looks for whatever refers to them: without these, row by row.
    for table, column in REFERRING:
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column])


def downgrade() -> None:
    for table, column in REFERRING:
        op.drop_index(op.f(f"ix_{table}_{column}"), table)
    op.drop_table("import_line")
    op.drop_table("import_part")
    op.drop_table("import_run")
