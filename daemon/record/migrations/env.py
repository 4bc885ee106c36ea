"""Run by Alembic: applies the steps on the connection that `daemon.record.steps` hands over.

The connection is inside a transaction of the caller's, so that a step is there whole or not at all.
"""

from alembic import context

from daemon.record.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=True,
)
context.run_migrations()
