"""What Alembic runs for each upgrade: the connection comes from the program, never from a settings file."""

from alembic import context

from workstation.ledger.models import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,  # SQLite alters few things in place
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
