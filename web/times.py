"""Moments as people read them: on this machine's clock."""

from datetime import UTC, datetime


def stamp(utc_ms: int) -> str:
    """A moment of the record on this machine's clock: `2026-03-02 02:09:14`."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone():%Y-%m-%d %H:%M:%S}"


def day(utc_ms: float) -> str:
    """The day of a moment on this machine's clock: `2026-03-02`, not to be broken."""
    day = f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone():%Y-%m-%d}"
    return day.replace("-", "\N{NON-BREAKING HYPHEN}")


def zone_name() -> str:
    """The zone of this machine's clock, as people call it."""
    return f"{datetime.now(UTC).astimezone():%Z}"
