"""What is done to a bath, and what is seen of it."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_KEYS = {"bath_entry": ("id",), "bath_amount": ("entry_id", "substance")}
"""The new tables and their keys; both are only added to."""

_NEVER_CHANGED = """
CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'the table {table} is only added to: nothing in it is {done}'); END
"""
_NEVER_REPLACED = """
CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE {same_key})
BEGIN SELECT RAISE(ABORT, 'the table {table} is only added to: nothing in it is replaced'); END
"""


def upgrade() -> None:
    """Add tables; no row that is there is touched."""
    _bath_entry()
    _bath_amount()
    for table, key in _KEYS.items():
        for verb, done in (("update", "edited"), ("delete", "deleted")):
            op.execute(_NEVER_CHANGED.format(table=table, verb=verb, done=done))
        same_key = " AND ".join(f"{column} = NEW.{column}" for column in key)
        op.execute(_NEVER_REPLACED.format(table=table, same_key=same_key))


def _bath_entry() -> None:
    op.create_table(
        "bath_entry",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("bath_id", sa.Integer, sa.ForeignKey("bath.id"), nullable=False),
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id")),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        sa.Column("at_utc_ms", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("kind", "who", "note")),
        sa.Column("facts", sa.Text),
        sa.Column("corrects_id", sa.Integer, sa.ForeignKey("bath_entry.id")),
        sqlite_strict=True,
    )
    op.create_index("ix_bath_entry_bath_id", "bath_entry", ["bath_id"])


def _bath_amount() -> None:
    op.create_table(
        "bath_amount",
        sa.Column("entry_id", sa.Integer, sa.ForeignKey("bath_entry.id"), primary_key=True),
        sa.Column("substance", sa.Text, primary_key=True),
        sa.Column("amount_n", sa.Integer, nullable=False),
        sqlite_strict=True,
    )
