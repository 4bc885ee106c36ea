"""Dosing pumps as the daemon's word tells of them."""

from collections.abc import Sequence
from datetime import UTC, datetime

from daemon.api.socket.pumps import PumpStatus
from daemon.service.pumps.doser import PumpSeen


def pump_statuses(pumps: Sequence[PumpSeen]) -> tuple[PumpStatus, ...]:
    """Each pump as of the last cycle."""
    return tuple(_status(seen) for seen in pumps)


def _status(seen: PumpSeen) -> PumpStatus:
    rules, last, ran, hindrance = seen.rules, seen.last, seen.ran, seen.hindrance
    return PumpStatus(
        additive=rules.additive,
        dose_ml=rules.dose_ml,
        flow_ml_s=rules.flow_ml_s,
        most_day_ml=rules.most_day_ml,
        runs=seen.runs,
        owed_ml=seen.owed_ml,
        due=seen.due,
        day_ml=seen.day_ml,
        why_not=None if hindrance is None else hindrance.words,
        passes=hindrance is not None and hindrance.passes,
        kept_utc=None if seen.kept is None else _utc(seen.kept.since_utc_ms),
        last_ml=None if last is None else last.volume_ml,
        last_utc=None if last is None else _utc(last.at_utc_ms),
        last_cut_short=None if last is None else last.cut_short,
        by_hand=seen.by_hand,
        ran_s=None if ran is None else ran.ran_s,
        ran_cut_short=None if ran is None else ran.cut_short,
    )


def _utc(utc_ms: int) -> str:
    return datetime.fromtimestamp(utc_ms / 1000, UTC).isoformat()
