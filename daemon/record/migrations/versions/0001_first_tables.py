"""The first tables: baths and their ledger, runs, stages, events, spans, blocks, journal."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_APPEND_ONLY = (
    """
CREATE TRIGGER ledger_no_update BEFORE UPDATE ON ledger
BEGIN SELECT RAISE(ABORT, 'the ledger is only added to: nothing in it is edited'); END
""",
    """
CREATE TRIGGER ledger_no_delete BEFORE DELETE ON ledger
BEGIN SELECT RAISE(ABORT, 'the ledger is only added to: nothing in it is deleted'); END
""",
    """
CREATE TRIGGER ledger_balanced BEFORE INSERT ON ledger
WHEN NEW.balance_nah <> NEW.charge_nah + coalesce(
    (SELECT balance_nah FROM ledger WHERE bath_id = NEW.bath_id ORDER BY id DESC LIMIT 1), 0)
BEGIN SELECT RAISE(ABORT, 'the ledger does not balance'); END
""",
    """
CREATE TRIGGER ledger_no_replace BEFORE INSERT ON ledger
WHEN EXISTS (SELECT 1 FROM ledger WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'the ledger is only added to: nothing in it is replaced'); END
""",
)


def upgrade() -> None:
    """Create everything in an empty file."""
    _baths_and_runs()
    _ledger()
    _of_a_run()
    _spans()
    _samples()


def _baths_and_runs() -> None:
    op.create_table(
        "bath",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("name", sa.Text, nullable=False, unique=True),
        sa.Column("opened_utc_ms", sa.Integer, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "run",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("bath_id", sa.Integer, sa.ForeignKey("bath.id"), nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("title", "plan", "metal")),
        sa.Column("area_dm2", sa.REAL, nullable=False),
        sa.Column("target_um", sa.REAL, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("started_utc_ms", sa.Integer, nullable=False),
        sa.Column("started_monotonic_s", sa.REAL, nullable=False),
        sa.Column("boot_id", sa.Text, nullable=False),
        sa.Column("clock_synchronised", sa.Integer),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("reason", sa.Text),
        sa.Column("ended_utc_ms", sa.Integer),
        sa.Column("elapsed_s", sa.REAL),
        sa.Column("running_s", sa.REAL),
        sa.Column("charge_nah", sa.Integer),
        sa.Column("gap_least_nah", sa.Integer),
        sa.Column("gap_greatest_nah", sa.Integer),
        sa.Column("mass_g", sa.REAL),
        sa.Column("thickness_um", sa.REAL),
        sqlite_strict=True,
    )


def _ledger() -> None:
    op.create_table(
        "ledger",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("bath_id", sa.Integer, sa.ForeignKey("bath.id"), nullable=False),
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id")),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("charge_nah", sa.Integer, nullable=False),
        sa.Column("balance_nah", sa.Integer, nullable=False),
        sa.Column("gap_least_nah", sa.Integer),
        sa.Column("gap_greatest_nah", sa.Integer),
        sa.Column("text", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    op.create_index("ix_ledger_bath_id", "ledger", ["bath_id"])
    op.create_index("ix_ledger_run_id", "ledger", ["run_id"])
    for trigger in _APPEND_ONLY:
        op.execute(trigger)


def _of_a_run() -> None:
    op.create_table(
        "stage",
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("started_s", sa.REAL, nullable=False),
        sa.Column("ended_s", sa.REAL, nullable=False),
        sa.Column("charge_nah", sa.Integer, nullable=False),
        sa.Column("ended_by", sa.Text, nullable=False),
        sqlite_strict=True,
    )
    op.create_table(
        "event",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id")),
        sa.Column("utc_ms", sa.Integer, nullable=False),
        sa.Column("monotonic_s", sa.REAL, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("kind", "text", "data")),
        sqlite_strict=True,
    )
    op.create_index("ix_event_run_id", "event", ["run_id"])


def _spans() -> None:
    op.create_table(
        "block",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("samples", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
    )
    to_block = sa.Column("block_id", sa.Integer, sa.ForeignKey("block.id"), nullable=False)
    for name, more in (("minute", [to_block]), ("ten_minutes", []), ("hour", [])):
        op.create_table(
            name,
            sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), primary_key=True),
            sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
            sa.Column("samples", sa.Integer, nullable=False),
            sa.Column("first_s", sa.REAL, nullable=False),
            sa.Column("last_s", sa.REAL, nullable=False),
            *(
                sa.Column(f"{channel}_{part}", sa.REAL)
                for channel in ("current", "voltage", "set_current")
                for part in ("least", "mean", "greatest", "covered_s")
            ),
            sa.Column("charge_nah", sa.Integer, nullable=False),
            *more,
            sqlite_strict=True,
        )


def _samples() -> None:
    op.create_table(
        "journal",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("run_id", sa.Integer, sa.ForeignKey("run.id"), nullable=False),
        sa.Column("charge_nah", sa.Integer, nullable=False),
        sa.Column("samples", sa.LargeBinary, nullable=False),
        sqlite_strict=True,
    )
