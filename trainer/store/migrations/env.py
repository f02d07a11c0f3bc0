"""Run the migrations on the engine that the store hands over."""

from alembic import context

from trainer.store import tables

engine = context.config.attributes["engine"]

with engine.connect() as connection:
    # Batch mode rebuilds tables; with foreign keys on, that would empty their children.
    # The pragma has no effect inside a transaction, so it stands on the raw connection.
    connection.connection.driver_connection.execute("PRAGMA foreign_keys=OFF")
    try:
        context.configure(
            connection=connection, target_metadata=tables.METADATA, render_as_batch=True
        )
        with context.begin_transaction():
            context.run_migrations()
        connection.commit()
    finally:
        connection.connection.driver_connection.execute("PRAGMA foreign_keys=ON")
