"""Alembic's environment: the caller brings the connection and ends the transaction (see ../engine.py)."""

from alembic import context

from analysis.store.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
