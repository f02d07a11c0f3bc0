"""Let a body go that an entry names, and keep where people belonged

Retention ends, and a body may be erased: an entry of kind `erasure` names it first, then the row
of `erased`, and only then does the trigger let body and salt become empty, every other column as
it was. What is medical the program never lets go. Whoever moves leaves a row of where they were,
so that what a worksite asked of them on a day gone by stays known.
"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

from trainer.store import triggers

revision = "0014"
down_revision = "0013"

MOMENT = sqlmodel.sql.sqltypes.UTCDateTime()
KEPT = ("past_membership", "erased")
STAYS = (
    "number", "once", "kind", "person_number", "worksite", "happened_on", "recorded_at",
    "body_hash", "previous", "hash",
)
SENTENCE = "an entry of the record is never changed"
NEVER_ERASED = "('medical', 'medical-correction', 'erasure')"


def upgrade() -> None:
    op.create_table(
        "past_membership",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("worksite_id", sa.Integer(), nullable=False),
        sa.Column("joined_at", MOMENT, nullable=True),
        sa.Column("left_at", MOMENT, nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_past_membership_person_id_person")),
        sa.ForeignKeyConstraint(["worksite_id"], ["worksite.id"], name=op.f("fk_past_membership_worksite_id_worksite")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_past_membership")),
    )
    op.create_index(op.f("ix_past_membership_person_id"), "past_membership", ["person_id"])
    op.create_index(op.f("ix_past_membership_worksite_id"), "past_membership", ["worksite_id"])
    op.create_table(
        "erased",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("erasure", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["number"], ["entry.number"], name=op.f("fk_erased_number_entry")),
        sa.ForeignKeyConstraint(["erasure"], ["entry.number"], name=op.f("fk_erased_erasure_entry")),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_erased")),
    )
    for table in KEPT:
        triggers.refuse_changes(table, "what was kept is never changed")
    triggers.refuse(
        "erased_needs_its_entry", "INSERT", "erased",
        "no entry of the record lets this body go", unless=_named_by_its_entry(),
    )
    triggers.refuse_nothing("entry")
    triggers.refuse_changes("entry", SENTENCE, unless=_let_go())


def _named_by_its_entry() -> str:
    """Return the condition that an erasure, later in the record, names what goes."""
    named = triggers.either(
        sqlite="json_each(entry.body, '$.erased') AS named",
        postgresql="jsonb_array_elements(entry.body::jsonb -> 'erased') AS named(value)",
    )
    number = triggers.either(
        sqlite="json_extract(named.value, '$.number')",
        postgresql="(named.value ->> 'number')::bigint",
    )
    # Of names that stand in this file alone.
    return (
        f"EXISTS (SELECT 1 FROM entry, {named} WHERE entry.number = NEW.erasure "  # noqa: S608  # nosec B608
        f"AND entry.kind = 'erasure' AND NEW.number < NEW.erasure AND {number} = NEW.number)"
    )


def _let_go() -> str:
    """Return the condition that a change empties what a row of `erased` names, and no more."""
    # Of names that stand in this file alone.
    return (
        f"NEW.body IS NULL AND NEW.salt IS NULL AND {triggers.same(*STAYS)} "  # noqa: S608  # nosec B608
        f"AND OLD.kind NOT IN {NEVER_ERASED} "
        "AND EXISTS (SELECT 1 FROM erased WHERE erased.number = OLD.number)"
    )


def downgrade() -> None:
    triggers.refuse_nothing("entry")
    triggers.refuse_changes("entry", SENTENCE)
    triggers.drop("erased_needs_its_entry", "erased")
    for table in reversed(KEPT):
        triggers.refuse_nothing(table)
        op.drop_table(table)
