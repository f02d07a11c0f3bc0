"""Count the board in its indexes

The indexes hold all that a filter of the board asks, so that whoever is left out is left out
without a look at the row. Another counts what is missing and what falls due.
"""

from alembic import op

revision = "0026"
down_revision = "0025"

BEFORE = (
    ("ix_standing_board", ["left_on", "lead_until", "lead_begun", "search_key", "person_id"]),
    ("ix_standing_name", ["left_on", "search_key", "person_id"]),
)
SINCE = (
    ("ix_standing_board",
     ["left_on", "lead_until", "lead_begun", "search_key", "person_id", "respirator_id",
      "clear_until", "begun", "others_until"]),
    ("ix_standing_name", ["left_on", "search_key", "person_id", "respirator_id"]),
)
DUE = (
    "left_on", "missing", "training_due", "practice_due", "fit_test_due", "lessons_due",
    "medical_due", "clear_until", "begun", "others_until", "next_due_kind", "respirator_id",
    "person_id",
)


def upgrade() -> None:
    _make(SINCE, instead_of=BEFORE)
    op.create_index("ix_standing_due", "standing", DUE)


def downgrade() -> None:
    op.drop_index("ix_standing_due", "standing")
    _make(BEFORE, instead_of=SINCE)


def _make(indexes: tuple, instead_of: tuple) -> None:
    for name, _ in instead_of:
        op.drop_index(name, "standing")
    for name, columns in indexes:
        op.create_index(name, "standing", columns)
