"""Keep talks given in a room, and sittings on paper

A trainer teaches lessons in person; whoever was there may take their sittings. The triggers stop a
slip of a later program, or of a hand at the database, from changing a talk unnoticed. A sitting may
be printed, written on and entered by a trainer.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

from trainer.store import triggers

revision = "0008"
down_revision = "0007"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()
KEPT = ("taught_talk", "talk_lesson", "talk_person", "talk_taken_back")


def upgrade() -> None:
    op.add_column("sitting", sa.Column("on_paper", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.add_column("sitting", sa.Column("talk", sa.Integer(), nullable=True))
    op.create_table(
        "paper_sitting",
        sa.Column("sitting_id", sa.Integer(), nullable=False),
        sa.Column("code", TEXT, nullable=False),
        sa.Column("language", TEXT, nullable=False),
        sa.Column("printed_by", sa.Integer(), nullable=False),
        sa.Column("printed_at", MOMENT, nullable=False),
        sa.Column("withdrawn_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["printed_by"], ["person.id"], name=op.f("fk_paper_sitting_printed_by_person")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_paper_sitting_sitting_id_sitting")),
        sa.PrimaryKeyConstraint("sitting_id", name=op.f("pk_paper_sitting")),
        sa.UniqueConstraint("code", name=op.f("uq_paper_sitting_code")),
    )
    op.create_table(
        "taught_talk",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("once", TEXT, nullable=False),
        sa.Column("worksite_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("began", TEXT, nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("language", TEXT, nullable=False),
        sa.Column("mode", TEXT, nullable=False),
        sa.Column("trainer_id", sa.Integer(), nullable=False),
        sa.Column("trainer_number", TEXT, nullable=False),
        sa.Column("trainer_name", TEXT, nullable=False),
        sa.Column("qualification", TEXT, nullable=False),
        sa.Column("recorded_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(["trainer_id"], ["person.id"], name=op.f("fk_taught_talk_trainer_id_person")),
        sa.ForeignKeyConstraint(["worksite_id"], ["worksite.id"], name=op.f("fk_taught_talk_worksite_id_worksite")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_taught_talk")),
        sa.UniqueConstraint("once", name=op.f("uq_taught_talk_once")),
    )
    op.create_index(op.f("ix_taught_talk_worksite_id"), "taught_talk", ["worksite_id"])
    op.create_table(
        "talk_lesson",
        sa.Column("talk_id", sa.Integer(), nullable=False),
        sa.Column("lesson", TEXT, nullable=False),
        sa.Column("version", TEXT, nullable=False),
        sa.ForeignKeyConstraint(["talk_id"], ["taught_talk.id"], name=op.f("fk_talk_lesson_talk_id_taught_talk")),
        sa.PrimaryKeyConstraint("talk_id", "lesson", name=op.f("pk_talk_lesson")),
    )
    op.create_table(
        "talk_person",
        sa.Column("talk_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_talk_person_person_id_person")),
        sa.ForeignKeyConstraint(["talk_id"], ["taught_talk.id"], name=op.f("fk_talk_person_talk_id_taught_talk")),
        sa.PrimaryKeyConstraint("talk_id", "person_id", name=op.f("pk_talk_person")),
    )
    op.create_index(op.f("ix_talk_person_person_id"), "talk_person", ["person_id"])
    op.create_table(
        "talk_taken_back",
        sa.Column("talk_id", sa.Integer(), nullable=False),
        sa.Column("taken_back_by", sa.Integer(), nullable=False),
        sa.Column("taken_back_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(["taken_back_by"], ["person.id"], name=op.f("fk_talk_taken_back_taken_back_by_person")),
        sa.ForeignKeyConstraint(["talk_id"], ["taught_talk.id"], name=op.f("fk_talk_taken_back_talk_id_taught_talk")),
        sa.PrimaryKeyConstraint("talk_id", name=op.f("pk_talk_taken_back")),
    )
    for table in KEPT:
        triggers.refuse_changes(table, "a talk that was recorded is never changed")


def downgrade() -> None:
    for table in reversed(KEPT):
        triggers.refuse_nothing(table)
        op.drop_table(table)  # its index goes with it
    op.drop_table("paper_sitting")
    op.drop_column("sitting", "talk")
    op.drop_column("sitting", "on_paper")
