"""A run may go on with the part of an earlier one."""

from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add a column; runs so far began with a bare part."""
    op.execute("ALTER TABLE run ADD COLUMN goes_on_from_id INTEGER REFERENCES run(id)")
