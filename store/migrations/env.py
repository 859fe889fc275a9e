"""Run the changes on the connection, and in the transaction, that the store hands over."""

from alembic import context

from store import schema

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=schema.METADATA,
    version_table=schema.VERSION_TABLE,
)
with context.begin_transaction():
    context.run_migrations()
