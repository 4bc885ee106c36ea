"""Parts with their areas, and what a run's thickness is reckoned with besides its own."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_KEYS = {"part": "id", "reckoned_with": "run_id"}
"""The new tables and their keys; both are only added to."""

_NEVER_CHANGED = """
CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'the table {table} is only added to: nothing in it is {done}'); END
"""
_NEVER_REPLACED = """
CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key})
BEGIN SELECT RAISE(ABORT, 'the table {table} is only added to: nothing in it is replaced'); END
"""


def upgrade() -> None:
    """Add tables; no row that is there is touched."""
    _part()
    _reckoned_with()
    for table, key in _KEYS.items():
        for verb, done in (("update", "edited"), ("delete", "deleted")):
            op.execute(_NEVER_CHANGED.format(table=table, verb=verb, done=done))
        op.execute(_NEVER_REPLACED.format(table=table, key=key))


def _part() -> None:
    op.create_table(
        "part",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("made_from", sa.Text, nullable=False),
        sa.Column("area_dm2", sa.REAL, nullable=False),
        sa.Column("u95_dm2", sa.REAL, nullable=False),
        sa.Column("volume_cm3", sa.REAL),
        sa.Column("settings", sa.Text, nullable=False),
        sa.Column("picture", sa.LargeBinary),
        sa.Column("sha256", sa.Text),
        sa.Column("supersedes_id", sa.Integer, sa.ForeignKey("part.id")),
        sqlite_strict=True,
    )
    op.create_index("ix_part_name", "part", ["name"])


def _reckoned_with() -> None:
    op.create_table(
        "reckoned_with",
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), primary_key=True),
        sa.Column("area_u", sa.REAL, nullable=False),
        sa.Column("efficiency", sa.REAL, nullable=False),
        sa.Column("efficiency_u", sa.REAL, nullable=False),
        sqlite_strict=True,
    )
