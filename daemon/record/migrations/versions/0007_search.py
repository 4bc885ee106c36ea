"""Indices by which runs are found: by start, bath and end, and what was entered of each."""

from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

_INDICES = (
    ("run", "started_utc_ms"),
    ("run", "bath_id"),
    ("run", "state"),
    ("bath_entry", "run_id"),
)


def upgrade() -> None:
    """Add indices; no row that is there is touched."""
    for table, column in _INDICES:
        op.create_index(f"ix_{table}_{column}", table, [column])
