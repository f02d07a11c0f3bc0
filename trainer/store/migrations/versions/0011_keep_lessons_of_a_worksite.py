"""Keep the lessons of a worksite

Trainers write lessons for their worksite in the browser: drafts that save themselves, texts that
were kept beside another one, questions, and every version that was published.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0011"
down_revision = "0010"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()


def upgrade() -> None:
    op.create_table(
        "site_lesson",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("worksite_id", sa.Integer(), nullable=False),
        sa.Column("for_everyone", sa.Boolean(), nullable=False),
        sa.Column("begun_at", MOMENT, nullable=False),
        sa.Column("begun_by", sa.Integer(), nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["begun_by"], ["person.id"], name=op.f("fk_site_lesson_begun_by_person")),
        sa.ForeignKeyConstraint(["worksite_id"], ["worksite.id"], name=op.f("fk_site_lesson_worksite_id_worksite")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site_lesson")),
    )
    op.create_index(op.f("ix_site_lesson_worksite_id"), "site_lesson", ["worksite_id"])
    op.create_table(
        "site_draft",
        sa.Column("lesson_id", sa.Integer(), nullable=False),
        sa.Column("language", TEXT, nullable=False),
        sa.Column("title", TEXT, nullable=False),
        sa.Column("summary", TEXT, nullable=False),
        sa.Column("text", TEXT, nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("page", TEXT, nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("saved_at", MOMENT, nullable=False),
        sa.Column("saved_by", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lesson_id"], ["site_lesson.id"], name=op.f("fk_site_draft_lesson_id_site_lesson")),
        sa.ForeignKeyConstraint(["saved_by"], ["person.id"], name=op.f("fk_site_draft_saved_by_person")),
        sa.PrimaryKeyConstraint("lesson_id", "language", name=op.f("pk_site_draft")),
    )
    op.create_table(
        "site_draft_aside",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lesson_id", sa.Integer(), nullable=False),
        sa.Column("language", TEXT, nullable=False),
        sa.Column("title", TEXT, nullable=False),
        sa.Column("summary", TEXT, nullable=False),
        sa.Column("text", TEXT, nullable=False),
        sa.Column("page", TEXT, nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("kept_at", MOMENT, nullable=False),
        sa.Column("kept_by", sa.Integer(), nullable=False),
        sa.Column("dealt_with_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["kept_by"], ["person.id"], name=op.f("fk_site_draft_aside_kept_by_person")),
        sa.ForeignKeyConstraint(["lesson_id"], ["site_lesson.id"], name=op.f("fk_site_draft_aside_lesson_id_site_lesson")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site_draft_aside")),
        sa.UniqueConstraint("lesson_id", "language", "page", name=op.f("uq_site_draft_aside_lesson_id")),
    )
    op.create_table(
        "site_lesson_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lesson_id", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("version", TEXT, nullable=False),
        sa.Column("content", TEXT, nullable=False),
        sa.Column("retrain", sa.Boolean(), nullable=False),
        sa.Column("why", TEXT, nullable=False),
        sa.Column("published_at", MOMENT, nullable=False),
        sa.Column("published_by", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["lesson_id"], ["site_lesson.id"], name=op.f("fk_site_lesson_version_lesson_id_site_lesson")),
        sa.ForeignKeyConstraint(["published_by"], ["person.id"], name=op.f("fk_site_lesson_version_published_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site_lesson_version")),
        sa.UniqueConstraint("lesson_id", "ordinal", name=op.f("uq_site_lesson_version_lesson_id")),
    )
    op.create_table(
        "site_question",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lesson_id", sa.Integer(), nullable=False),
        sa.Column("content", TEXT, nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("saved_at", MOMENT, nullable=False),
        sa.Column("saved_by", sa.Integer(), nullable=False),
        sa.Column("ended_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["lesson_id"], ["site_lesson.id"], name=op.f("fk_site_question_lesson_id_site_lesson")),
        sa.ForeignKeyConstraint(["saved_by"], ["person.id"], name=op.f("fk_site_question_saved_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_site_question")),
    )
    op.create_index(op.f("ix_site_question_lesson_id"), "site_question", ["lesson_id"])


def downgrade() -> None:
    op.drop_index(op.f("ix_site_question_lesson_id"), table_name="site_question")
    op.drop_table("site_question")
    op.drop_table("site_lesson_version")
    op.drop_table("site_draft_aside")
    op.drop_table("site_draft")
    op.drop_index(op.f("ix_site_lesson_worksite_id"), table_name="site_lesson")
    op.drop_table("site_lesson")
