"""Keep what people ask, and what they tell in one tap

A person asks from a lesson or from the tag, the trainers of the worksite answer, and an answer may
be shown to everybody there. That a fit has changed, that a respirator leaks, or that somebody wants
to talk to the health professional is told without any detail.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0006"
down_revision = "0005"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()


def upgrade() -> None:
    op.create_table(
        "worker_question",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("once", TEXT, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("lesson", TEXT, nullable=False),
        sa.Column("section", TEXT, nullable=False),
        sa.Column("text", TEXT, nullable=False),
        sa.Column("language", TEXT, nullable=False),
        sa.Column("asked_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_worker_question_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_worker_question")),
        sa.UniqueConstraint("person_id", "once", "text", name=op.f("uq_worker_question_person_id")),
    )
    op.create_table(
        "trainer_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("once", TEXT, nullable=False),
        sa.Column("question_id", sa.Integer(), nullable=False),
        sa.Column("text", TEXT, nullable=False),
        sa.Column("answered_at", MOMENT, nullable=False),
        sa.Column("answered_by", sa.Integer(), nullable=False),
        sa.Column("read_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["answered_by"], ["person.id"], name=op.f("fk_trainer_answer_answered_by_person")),
        sa.ForeignKeyConstraint(["question_id"], ["worker_question.id"], name=op.f("fk_trainer_answer_question_id_worker_question")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trainer_answer")),
        sa.UniqueConstraint("question_id", "once", "text", name=op.f("uq_trainer_answer_question_id")),
    )
    op.create_table(
        "shown_answer",
        sa.Column("answer_id", sa.Integer(), nullable=False),
        sa.Column("worksite_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["answer_id"], ["trainer_answer.id"], name=op.f("fk_shown_answer_answer_id_trainer_answer")),
        sa.ForeignKeyConstraint(["worksite_id"], ["worksite.id"], name=op.f("fk_shown_answer_worksite_id_worksite")),
        sa.PrimaryKeyConstraint("answer_id", "worksite_id", name=op.f("pk_shown_answer")),
    )
    op.create_index(op.f("ix_shown_answer_worksite_id"), "shown_answer", ["worksite_id"])
    op.create_table(
        "need",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("respirator_id", sa.Integer(), nullable=True),
        sa.Column("told_at", MOMENT, nullable=False),
        sa.Column("dealt_with_at", MOMENT, nullable=True),
        sa.Column("dealt_with_by", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["dealt_with_by"], ["person.id"], name=op.f("fk_need_dealt_with_by_person")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_need_person_id_person")),
        sa.ForeignKeyConstraint(["respirator_id"], ["respirator.id"], name=op.f("fk_need_respirator_id_respirator")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_need")),
    )
    op.create_index(op.f("ix_need_person_id"), "need", ["person_id"])


def downgrade() -> None:
    op.drop_index(op.f("ix_need_person_id"), table_name="need")
    op.drop_table("need")
    op.drop_index(op.f("ix_shown_answer_worksite_id"), table_name="shown_answer")
    op.drop_table("shown_answer")
    op.drop_table("trainer_answer")
    op.drop_table("worker_question")
