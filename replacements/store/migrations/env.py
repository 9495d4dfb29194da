"""Alembic's entry: runs the migrations on the connection that `replacements.store.migrate` hands over."""

from alembic import context

from replacements.store.tables import Base

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=Base.metadata,
    render_as_batch=True,
    transaction_per_migration=context.config.attributes.get("stepwise", False),
)
with context.begin_transaction():
    context.run_migrations()
