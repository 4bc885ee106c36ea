"""What dosing pumps are about, in words: for the sentence, the page, the command line, a start."""

from datetime import tzinfo

from daemon.api.sentence import clock, utc_of
from daemon.api.socket.messages import Status
from daemon.api.socket.pumps import PumpStatus


def gives(pump: PumpStatus) -> str:
    """What follows a dose that falls due: that a pump gives it, and how much at most."""
    return (
        f"; its pump gives it, {pump.dose_ml:.4g} mL at a time, "
        f"at most {pump.most_day_ml:.4g} mL in 24 h"
    )


def line(pump: PumpStatus, status: Status, zone: tzinfo | None = None) -> str:
    """What a pump does, why it does not, and what it did last, in one line."""
    said = f"{pump.additive}: {_now(pump, status, zone)}"
    if pump.last_ml is not None and pump.last_utc is not None:
        at = clock(utc_of(pump.last_utc), utc_of(status.utc), zone)
        said += f"; last {pump.last_ml:.3g} mL at {at}"
        if pump.last_cut_short is not None and pump.last_cut_short == pump.why_not:
            said += ", cut short by that"
        elif pump.last_cut_short is not None:
            said += f", cut short: {pump.last_cut_short}"
    return f"{said}; {pump.day_ml:.3g} of {pump.most_day_ml:.4g} mL in 24 h"


def short(status: Status, zone: tzinfo | None = None) -> str:
    """The pumps that run, and those that should and do not; nothing of the others."""
    return "; ".join(
        f"{pump.additive}: {_now(pump, status, zone)}"
        for pump in status.pumps
        if pump.runs or _is_kept_from(pump)
    )


def _now(pump: PumpStatus, status: Status, zone: tzinfo | None) -> str:
    if pump.by_hand:
        return "the pump runs by hand"
    if pump.runs:
        return f"the pump gives {pump.dose_ml:.4g} mL"
    if pump.why_not is None:
        return "the pump is about to run: the record takes its word first"
    if pump.kept_utc is not None:
        since = clock(utc_of(pump.kept_utc), utc_of(status.utc), zone)
        return f"not dosed since {since}, {pump.owed_ml:.3g} mL are owed: {pump.why_not}"
    return f"the pump rests: {pump.why_not}"


def _is_kept_from(pump: PumpStatus) -> bool:
    return pump.due and pump.why_not is not None
