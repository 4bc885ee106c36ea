"""Alarms with their changes and close-ups, interruptions and their settlements, audit, proofs."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

_KEYS = {
    "alarm": ("id",),
    "alarm_change": ("id",),
    "close_up": ("alarm_id", "part"),
    "trace": ("alarm_id", "part", "meter"),
    "interruption": ("run_id",),
    "settlement": ("id",),
    "audit": ("id",),
    "proof": ("id",),
}
"""The new tables and their keys; all of them are only added to."""

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
    _alarm()
    _alarm_change()
    _close_up()
    _interruption()
    _audit()
    _proof()
    for table, key in _KEYS.items():
        for verb, done in (("update", "edited"), ("delete", "deleted")):
            op.execute(_NEVER_CHANGED.format(table=table, verb=verb, done=done))
        same_key = " AND ".join(f"{column} = NEW.{column}" for column in key)
        op.execute(_NEVER_REPLACED.format(table=table, same_key=same_key))


def _alarm() -> None:
    op.create_table(
        "alarm",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id")),
        *_texts("cause", "priority", "seen", "figures"),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        sa.Column("monotonic_s", sa.REAL, nullable=False),
        *_texts("boot_id"),
        sqlite_strict=True,
    )
    op.create_index("ix_alarm_run_id", "alarm", ["run_id"])
    op.create_index("ix_alarm_utc_ms", "alarm", ["utc_ms"])


def _alarm_change() -> None:
    op.create_table(
        "alarm_change",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("alarm_id", sa.Integer, sa.ForeignKey("alarm.id"), nullable=False),
        *_texts("what"),
        sa.Column("who", sa.Text),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        sa.Column("monotonic_s", sa.REAL),
        *_texts("text", "data"),
        sqlite_strict=True,
    )
    op.create_index("ix_alarm_change_alarm_id", "alarm_change", ["alarm_id"])


def _close_up() -> None:
    op.create_table(
        "close_up",
        sa.Column("alarm_id", sa.Integer, sa.ForeignKey("alarm.id"), primary_key=True),
        sa.Column("part", sa.Text, primary_key=True),
        sa.Column("from_s", sa.REAL, nullable=False),
        sa.Column("to_s", sa.REAL, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "trace",
        sa.Column("alarm_id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("part", sa.Text, primary_key=True),
        sa.Column("meter", sa.Text, primary_key=True),
        sa.Column("counting", sa.Integer, nullable=False),
        sa.Column("readings", sa.LargeBinary, nullable=False),
        sa.ForeignKeyConstraint(["alarm_id", "part"], ["close_up.alarm_id", "close_up.part"]),
        sqlite_strict=True,
    )


def _interruption() -> None:
    op.create_table(
        "interruption",
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), primary_key=True),
        sa.Column("found_utc_ms", sa.Integer, nullable=False),
        sa.Column("lasted_s", sa.REAL),
        sa.Column("least_nah", sa.Integer, nullable=False),
        sa.Column("greatest_nah", sa.Integer),
        sqlite_strict=True,
    )
    op.create_table(
        "settlement",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("run_id", sa.Integer, sa.ForeignKey("interruption.run_id"), nullable=False),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        *_texts("who"),
        sa.Column("charge_nah", sa.Integer, nullable=False),
        *_texts("note"),
        sqlite_strict=True,
    )
    op.create_index("ix_settlement_run_id", "settlement", ["run_id"])


def _audit() -> None:
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        *_texts("who", "origin", "what", "detail"),
        sa.Column("refused", sa.Text),
        sqlite_strict=True,
    )


def _proof() -> None:
    op.create_table(
        "proof",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        *_texts("who"),
        sa.Column("passed", sa.Integer, nullable=False),
        *_texts("steps"),
        sqlite_strict=True,
    )


def _texts(*names: str) -> list[sa.Column[str]]:
    """Columns of text that are never null."""
    return [sa.Column(name, sa.Text, nullable=False) for name in names]
