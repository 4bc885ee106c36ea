"""Spans of eight hours, so that a month is drawn as quickly as an hour."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

_CHANNELS = ("current", "voltage", "set_current", "temperature")
_BAND = """
min(h.{0}_least),
CASE WHEN total(h.{0}_covered_s) > 0
    THEN total(h.{0}_mean * h.{0}_covered_s) / total(h.{0}_covered_s) ELSE avg(h.{0}_mean) END,
max(h.{0}_greatest), total(h.{0}_covered_s)"""

# A span is over where its last hour is, or where the run has minutes after it. A run's last span is
# left out otherwise: the chart makes it of its hours, or it is closed with the run.
_FILL = """
INSERT INTO eight_hours
SELECT h.run_id, h.number / 8, sum(h.samples), min(h.first_s), max(h.last_s), {bands}, e.charge_nah
FROM hour h
JOIN (SELECT run_id, number / 8 AS span, max(number) AS newest FROM hour GROUP BY 1, 2) n
    ON n.run_id = h.run_id AND n.span = h.number / 8
JOIN hour e ON e.run_id = n.run_id AND e.number = n.newest
WHERE n.newest = n.span * 8 + 7
    OR n.span < (SELECT max(number) FROM minute m WHERE m.run_id = h.run_id) / 480
GROUP BY h.run_id, h.number / 8, e.charge_nah
"""


def upgrade() -> None:
    """Add the table, filled from the hours that are there; no row that is there is touched."""
    op.create_table(
        "eight_hours",
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("samples", sa.Integer, nullable=False),
        sa.Column("first_s", sa.REAL, nullable=False),
        sa.Column("last_s", sa.REAL, nullable=False),
        *(
            sa.Column(f"{channel}_{part}", sa.REAL)
            for channel in _CHANNELS
            for part in ("least", "mean", "greatest", "covered_s")
        ),
        sa.Column("charge_nah", sa.Integer, nullable=False),
        sqlite_strict=True,
    )
    op.execute(_FILL.format(bands=",".join(map(_BAND.format, _CHANNELS))))
