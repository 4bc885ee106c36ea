"""Calibrations, what counted each run, entries that correct others, and the bath's temperature."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

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
    """Add tables and columns; no row that is there is touched."""
    _calibration()
    _counted_by()
    for table, key in (("calibration", "id"), ("counted_by", "run_id")):
        for verb, done in (("update", "edited"), ("delete", "deleted")):
            op.execute(_NEVER_CHANGED.format(table=table, verb=verb, done=done))
        op.execute(_NEVER_REPLACED.format(table=table, key=key))
    # As a statement, since Alembic adds no column with a foreign key on SQLite.
    op.execute("ALTER TABLE ledger ADD COLUMN corrects_id INTEGER REFERENCES ledger (id)")
    for table in ("minute", "ten_minutes", "hour"):
        for part in ("least", "mean", "greatest", "covered_s"):
            op.add_column(table, sa.Column(f"temperature_{part}", sa.REAL))


def _calibration() -> None:
    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("meter", sa.Text, nullable=False),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        *(
            sa.Column(name, sa.Text, nullable=False)
            for name in ("who", "reference", "reference_class", "note", "points")
        ),
        *(
            sa.Column(name, sa.REAL, nullable=False)
            for name in ("gain", "offset_a", "u_gain", "u_offset_a", "covariance_a", "u_class")
        ),
        sqlite_strict=True,
    )


def _counted_by() -> None:
    op.create_table(
        "counted_by",
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), primary_key=True),
        sa.Column("meter", sa.Text, nullable=False),
        sa.Column("gain", sa.REAL, nullable=False),
        sa.Column("offset_a", sa.REAL, nullable=False),
        sa.Column("calibration_id", sa.Integer, sa.ForeignKey("calibration.id")),
        *(
            sa.Column(f"doubt_{name}", sa.REAL)
            for name in (
                "gain",
                "offset_a",
                "covariance_a",
                "noise_a",
                "clock",
                "step_a",
                "reference",
            )
        ),
        sa.Column("doubt_of_limits", sa.Integer),
        sqlite_strict=True,
    )
