"""Alembic's entry point: runs the steps on the connection that the program hands over."""

from alembic import context

from shopmon.records.tools.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=True,  # SQLite can, once the driver does not interfere (see database.py)
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
