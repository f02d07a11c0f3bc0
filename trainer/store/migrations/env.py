"""Run the migrations on the connection that the store hands over."""

from alembic import context

from trainer.store import tables

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=tables.METADATA,
    render_as_batch=True,
    # All of them in one transaction, on SQLite too, which our connections begin themselves: an
    # upgrade that is killed leaves the record as it was.
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
