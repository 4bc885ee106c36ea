"""The record's tables, as this program knows them; the migrations bring a file to this shape.

Only the four types that SQLite's strict tables take. Charges are whole n A·h (`_nah`), so that sums
are exact; wall times whole ms since 1970 UTC (`_utc_ms`); other units are in the names. Readings
have no secondary index: a run's spans are found by their key.
"""

from typing import Any

from sqlalchemy import (
    REAL,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
    }
)

bath = Table(
    "bath",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("opened_utc_ms", Integer, nullable=False),
    sqlite_strict=True,
)

run = Table(
    "run",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("bath_id", ForeignKey("bath.id"), nullable=False),
    Column("title", Text, nullable=False),
    Column("plan", Text, nullable=False),
    Column("metal", Text, nullable=False),
    Column("area_dm2", REAL, nullable=False),
    Column("target_um", REAL, nullable=False),
    Column("who", Text, nullable=False),
    Column("started_utc_ms", Integer, nullable=False),
    Column("started_monotonic_s", REAL, nullable=False),
    Column("boot_id", Text, nullable=False),
    Column("clock_synchronised", Integer),  # 1, 0, or null: not known
    Column("state", Text, nullable=False),  # "running" until the run has ended
    Column("reason", Text),
    # Null until the run has ended; what an interrupted run cannot tell stays null.
    Column("ended_utc_ms", Integer),
    Column("elapsed_s", REAL),
    Column("running_s", REAL),
    Column("charge_nah", Integer),
    Column("gap_least_nah", Integer),
    Column("gap_greatest_nah", Integer),
    Column("mass_g", REAL),
    Column("thickness_um", REAL),
    Column("goes_on_from_id", ForeignKey("run.id")),  # the run whose part this one goes on with
    sqlite_strict=True,
)
Index("ix_run_started_utc_ms", run.c.started_utc_ms)
Index("ix_run_bath_id", run.c.bath_id)
Index("ix_run_state", run.c.state)

# The bath's account: only ever added to, which triggers enforce. `balance_nah` is the bath's charge
# after the entry, so that its total is one look-up and a lost entry shows. An entry that corrects
# another points at it with `corrects_id`.
ledger = Table(
    "ledger",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("bath_id", ForeignKey("bath.id"), nullable=False),
    Column("run_id", ForeignKey("run.id")),
    Column("utc_ms", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("charge_nah", Integer, nullable=False),
    Column("balance_nah", Integer, nullable=False),
    Column("gap_least_nah", Integer),
    Column("gap_greatest_nah", Integer),
    Column("text", Text, nullable=False),
    Column("corrects_id", ForeignKey("ledger.id")),
    sqlite_strict=True,
)
Index("ix_ledger_bath_id", ledger.c.bath_id)
Index("ix_ledger_run_id", ledger.c.run_id)

stage = Table(
    "stage",
    metadata,
    Column("run_id", ForeignKey("run.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("started_s", REAL, nullable=False),
    Column("ended_s", REAL, nullable=False),
    Column("charge_nah", Integer, nullable=False),
    Column("ended_by", Text, nullable=False),
    sqlite_strict=True,
)

event = Table(
    "event",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("run_id", ForeignKey("run.id")),
    Column("utc_ms", Integer, nullable=False),
    Column("monotonic_s", REAL, nullable=False),
    Column("kind", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("data", Text, nullable=False),  # a JSON object
    sqlite_strict=True,
)
Index("ix_event_run_id", event.c.run_id)


# Comparisons of meters with a reference: only ever added to, which triggers enforce. What the meter
# shows is gain times the current plus offset; `points` are a JSON list of objects with the fields
# of `daemon.chemistry.calibration.Point`.
calibration = Table(
    "calibration",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("meter", Text, nullable=False),
    Column("utc_ms", Integer, nullable=False),
    Column("who", Text, nullable=False),
    Column("reference", Text, nullable=False),
    Column("reference_class", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("points", Text, nullable=False),
    Column("gain", REAL, nullable=False),
    Column("offset_a", REAL, nullable=False),
    Column("u_gain", REAL, nullable=False),
    Column("u_offset_a", REAL, nullable=False),
    Column("covariance_a", REAL, nullable=False),
    Column("u_class", REAL, nullable=False),
    sqlite_strict=True,
)

# What counted a run, and how its readings were corrected and doubted: written once, with the run.
# A run without a row was counted by the supply, uncorrected; null doubts are not known.
counted_by = Table(
    "counted_by",
    metadata,
    Column("run_id", ForeignKey("run.id"), primary_key=True),
    Column("meter", Text, nullable=False),
    Column("gain", REAL, nullable=False),
    Column("offset_a", REAL, nullable=False),
    Column("calibration_id", ForeignKey("calibration.id")),
    Column("doubt_gain", REAL),
    Column("doubt_offset_a", REAL),
    Column("doubt_covariance_a", REAL),
    Column("doubt_noise_a", REAL),
    Column("doubt_clock", REAL),
    Column("doubt_step_a", REAL),
    Column("doubt_of_limits", Integer),  # 1 or 0
    Column("doubt_reference", REAL),
    sqlite_strict=True,
)

# What a run's thickness is reckoned with besides its area: relative standard uncertainties, and the
# cathode efficiency, whether its plan says it or it was learned. Written once, with the run.
reckoned_with = Table(
    "reckoned_with",
    metadata,
    Column("run_id", ForeignKey("run.id"), primary_key=True),
    Column("area_u", REAL, nullable=False),
    Column("efficiency", REAL, nullable=False),
    Column("efficiency_u", REAL, nullable=False),
    sqlite_strict=True,
)

# All samples of a minute, see `daemon.record.codec`. Apart from the summaries, so that reading
# those reads no blobs. (No table is WITHOUT ROWID: SQLite keeps rows of more than a fifth of a page
# out of such a table's tree, and nearly all are longer.)
block = Table(
    "block",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("samples", LargeBinary, nullable=False),
    sqlite_strict=True,
)


def _summaries(name: str, *more: Column[Any]) -> Table:
    """A table of spans of one length: `number` 0 is the span that begins with the run."""
    bands = [
        Column(f"{channel}_{part}", REAL)
        for channel in ("current", "voltage", "set_current", "temperature")
        for part in ("least", "mean", "greatest", "covered_s")
    ]
    return Table(
        name,
        metadata,
        Column("run_id", ForeignKey("run.id"), primary_key=True),
        Column("number", Integer, primary_key=True, autoincrement=False),
        Column("samples", Integer, nullable=False),
        Column("first_s", REAL, nullable=False),
        Column("last_s", REAL, nullable=False),
        *bands,
        Column("charge_nah", Integer, nullable=False),
        *more,
        sqlite_strict=True,
    )


minute = _summaries("minute", Column("block_id", ForeignKey("block.id"), nullable=False))
ten_minutes = _summaries("ten_minutes")
hour = _summaries("hour")
eight_hours = _summaries("eight_hours")

# The seconds of the unfinished minute, a row for each commit; emptied when the minute is sealed.
# `charge_nah` is the run's charge at the last of the row's samples.
journal = Table(
    "journal",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("run_id", ForeignKey("run.id"), nullable=False),
    Column("charge_nah", Integer, nullable=False),
    Column("samples", LargeBinary, nullable=False),
    sqlite_strict=True,
)


# All that follows is only ever added to, which triggers enforce.

# An alarm as it was raised; `id` is its number, `figures` a JSON object. It stands until one of its
# changes says that it is over.
alarm = Table(
    "alarm",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("run_id", ForeignKey("run.id")),
    Column("cause", Text, nullable=False),
    Column("priority", Text, nullable=False),
    Column("seen", Text, nullable=False),
    Column("figures", Text, nullable=False),
    Column("utc_ms", Integer, nullable=False),
    Column("monotonic_s", REAL, nullable=False),
    Column("boot_id", Text, nullable=False),
    sqlite_strict=True,
)
Index("ix_alarm_run_id", alarm.c.run_id)
Index("ix_alarm_utc_ms", alarm.c.utc_ms)

# What happened to an alarm after it was raised, in order. `who` is null where no person did it,
# `monotonic_s` where it was found out by a later daemon; `data` is a JSON object.
alarm_change = Table(
    "alarm_change",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("alarm_id", ForeignKey("alarm.id"), nullable=False),
    Column("what", Text, nullable=False),
    Column("who", Text),
    Column("utc_ms", Integer, nullable=False),
    Column("monotonic_s", REAL),
    Column("text", Text, nullable=False),
    Column("data", Text, nullable=False),
    sqlite_strict=True,
)
Index("ix_alarm_change_alarm_id", alarm_change.c.alarm_id)

# The readings around an alarm: those of `part` "before" were there when it was raised, those of
# "after" came since. What is known reaches from `from_s` to `to_s`, s from the alarm's moment.
close_up = Table(
    "close_up",
    metadata,
    Column("alarm_id", ForeignKey("alarm.id"), primary_key=True),
    Column("part", Text, primary_key=True),
    Column("from_s", REAL, nullable=False),
    Column("to_s", REAL, nullable=False),
    sqlite_strict=True,
)

# One meter's readings in a part of a close-up, see `daemon.record.codec`.
trace = Table(
    "trace",
    metadata,
    Column("alarm_id", Integer, primary_key=True, autoincrement=False),
    Column("part", Text, primary_key=True),
    Column("meter", Text, primary_key=True),
    Column("counting", Integer, nullable=False),  # 1 or 0
    Column("readings", LargeBinary, nullable=False),
    ForeignKeyConstraint(["alarm_id", "part"], ["close_up.alarm_id", "close_up.part"]),
    sqlite_strict=True,
)

# An interruption of a run, found by the daemon that started next: how long it can have lasted, and
# the charge that can have passed meanwhile. Null is not known.
interruption = Table(
    "interruption",
    metadata,
    Column("run_id", ForeignKey("run.id"), primary_key=True),
    Column("found_utc_ms", Integer, nullable=False),
    Column("lasted_s", REAL),
    Column("least_nah", Integer, nullable=False),
    Column("greatest_nah", Integer),
    sqlite_strict=True,
)

# A person's word on the charge that passed in an interruption; the newest of a run holds.
settlement = Table(
    "settlement",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("run_id", ForeignKey("interruption.run_id"), nullable=False),
    Column("utc_ms", Integer, nullable=False),
    Column("who", Text, nullable=False),
    Column("charge_nah", Integer, nullable=False),
    Column("note", Text, nullable=False),
    sqlite_strict=True,
)
Index("ix_settlement_run_id", settlement.c.run_id)

# Who asked for what, from where; `refused` says why it was not done.
audit = Table(
    "audit",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("utc_ms", Integer, nullable=False),
    Column("who", Text, nullable=False),
    Column("origin", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("detail", Text, nullable=False),
    Column("refused", Text),
    sqlite_strict=True,
)

# Proof tests of the ways to stop; `steps` is a JSON list of objects with the fields of
# `daemon.record.entries.ProofStep`.
proof = Table(
    "proof",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("utc_ms", Integer, nullable=False),
    Column("who", Text, nullable=False),
    Column("passed", Integer, nullable=False),  # 1 or 0
    Column("steps", Text, nullable=False),
    sqlite_strict=True,
)

# What was done to a bath, and what was seen of it; `at_utc_ms` is when it happened. `facts` is a
# JSON object, null in a correction that withdraws what it corrects. A correction's facts take the
# place of the corrected entry's, and its amounts are the difference.
bath_entry = Table(
    "bath_entry",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("bath_id", ForeignKey("bath.id"), nullable=False),
    Column("run_id", ForeignKey("run.id")),
    Column("utc_ms", Integer, nullable=False),
    Column("at_utc_ms", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("facts", Text),
    Column("corrects_id", ForeignKey("bath_entry.id")),
    sqlite_strict=True,
)
Index("ix_bath_entry_bath_id", bath_entry.c.bath_id)
Index("ix_bath_entry_run_id", bath_entry.c.run_id)

# What an entry put into the bath, or (less than 0) took out: whole n g, n mL of an additive or n L
# of bath, so that sums are exact.
bath_amount = Table(
    "bath_amount",
    metadata,
    Column("entry_id", ForeignKey("bath_entry.id"), primary_key=True),
    Column("substance", Text, primary_key=True),
    Column("amount_n", Integer, nullable=False),
    sqlite_strict=True,
)

# Parts that are plated; the newest of a name holds. `u95_dm2` is ± with 95 %; `settings` is a JSON
# object, what was said of the part; `picture` a PNG file; `sha256` that of its mesh file.
part = Table(
    "part",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("utc_ms", Integer, nullable=False),
    Column("who", Text, nullable=False),
    Column("made_from", Text, nullable=False),
    Column("area_dm2", REAL, nullable=False),
    Column("u95_dm2", REAL, nullable=False),
    Column("volume_cm3", REAL),
    Column("settings", Text, nullable=False),
    Column("picture", LargeBinary),
    Column("sha256", Text),
    Column("supersedes_id", ForeignKey("part.id")),
    sqlite_strict=True,
)
Index("ix_part_name", part.c.name)
