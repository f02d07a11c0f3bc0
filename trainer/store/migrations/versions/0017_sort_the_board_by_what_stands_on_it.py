"""Sort the board by what stands on it, and keep addresses of calendars

The rows of the tag board repeat the name, and since when somebody left, and say when each kind of
step falls due, so that 50,000 of them are sorted and counted by an index. A trigger keeps what is
the person's as the person has it. What is there already is worked out anew when the program starts.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

from trainer.store import triggers

revision = "0017"
down_revision = "0016"

TEXT = sqlmodel.sql.sqltypes.AutoString()
MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()
DAYS = (
    "left_on", "lead_until", "lead_others_until", "others_until", "medical_due", "training_due",
    "practice_due", "fit_test_due", "lessons_due",
)
INDEXES = (
    ("ix_standing_board", ["left_on", "lead_until", "lead_begun", "search_key", "person_id"]),
    ("ix_standing_name", ["left_on", "search_key", "person_id"]),
    ("ix_standing_tally",
     ["left_on", "clear_until", "begun", "others_until", "respirator_id", "person_id"]),
)


def upgrade() -> None:
    op.add_column("standing", sa.Column("search_key", TEXT, nullable=False, server_default=""))
    op.add_column("standing", sa.Column("lead_begun", sa.Boolean(), nullable=False, server_default=sa.false()))
    for column in DAYS:
        op.add_column("standing", sa.Column(column, sa.Date(), nullable=True))
    op.execute(
        "UPDATE standing SET "
        "search_key = (SELECT search_key FROM person WHERE person.id = standing.person_id), "
        "left_on = (SELECT left_on FROM person WHERE person.id = standing.person_id), "
        "lead_until = clear_until, lead_begun = begun"
    )
    for name, columns in INDEXES:
        op.create_index(name, "standing", columns)
    op.create_table(
        "calendar_feed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", TEXT, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("scope", TEXT, nullable=False),
        sa.Column("worksites", TEXT, nullable=False),
        sa.Column("language", TEXT, nullable=False),
        sa.Column("made_at", MOMENT, nullable=False),
        sa.Column("revoked_at", MOMENT, nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_calendar_feed_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calendar_feed")),
        sa.UniqueConstraint("secret_hash", name=op.f("uq_calendar_feed_secret_hash")),
    )
    op.create_index(op.f("ix_calendar_feed_person_id"), "calendar_feed", ["person_id"])
    _keep_as_the_person_has_it()


def _keep_as_the_person_has_it() -> None:
    triggers.after_update(
        "standing_follows_person", "person", ("search_key", "left_on"),
        "UPDATE standing SET search_key = NEW.search_key, left_on = NEW.left_on "
        "WHERE person_id = NEW.id",
    )


def downgrade() -> None:
    triggers.drop("standing_follows_person", "person")
    op.drop_table("calendar_feed")
    for name, _ in INDEXES:
        op.drop_index(name, "standing")
    with op.batch_alter_table("standing") as batch:
        for column in (*DAYS, "lead_begun", "search_key"):
            batch.drop_column(column)
