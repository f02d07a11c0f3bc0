"""Ask for a second step

Trainers and coordinators can sign in with a time-based one-time code after their passphrase. Until
it is given, a web session is half.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0021"
down_revision = "0019"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()


def upgrade() -> None:
    op.create_table(
        "second_step",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("secret", sa.LargeBinary(), nullable=True),
        sa.Column("since", MOMENT, nullable=True),
        sa.Column("last_step", sa.Integer(), nullable=False),
        sa.Column("pending", sa.LargeBinary(), nullable=True),
        sa.Column("pending_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_second_step_person_id_person")
        ),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_second_step")),
    )
    op.create_table(
        "recovery_code",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("code_hash", TEXT, nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("used_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_recovery_code_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recovery_code")),
    )
    op.create_index(op.f("ix_recovery_code_person_id"), "recovery_code", ["person_id"])
    op.add_column(
        "web_session", sa.Column("half", sa.Boolean(), nullable=False, server_default=sa.false())
    )
    op.create_index(op.f("ix_sign_in_try_last_at"), "sign_in_try", ["last_at"])


def downgrade() -> None:
    op.drop_index(op.f("ix_sign_in_try_last_at"), "sign_in_try")
    # A half session would be a whole one to what comes before.
    op.execute(sa.text("DELETE FROM web_session WHERE half"))
    with op.batch_alter_table("web_session") as batch:
        batch.drop_column("half")
    op.drop_index(op.f("ix_recovery_code_person_id"), "recovery_code")
    op.drop_table("recovery_code")
    op.drop_table("second_step")
