"""Find people by their role

Every page says which trainers are there to ask; without this, all people were gone through for it.
"""

from alembic import op

revision = "0025"
down_revision = "0024"


def upgrade() -> None:
    op.create_index(op.f("ix_person_role_role"), "person_role", ["role"])


def downgrade() -> None:
    op.drop_index(op.f("ix_person_role_role"), "person_role")
