"""What a pump's dose enters into the bath's account, and what is entered after a sudden end."""

from daemon.bath.components import VOLUME
from daemon.bath.dosing import DoseKept
from daemon.bath.kinds import DOSE
from daemon.clock import Clock, to_ms
from daemon.control.situation import Event
from daemon.record import pump_doses
from daemon.record.entries import BathEntered
from daemon.record.pump_doses import Begun
from daemon.record.writer import Writer


def entry_of(bath: str, dose: DoseKept, utc_ms: int, run_id: int | None) -> BathEntered:
    """The entry of a dose that a pump has given, made at `utc_ms`."""
    if dose.begun_utc_ms is None:
        raise ValueError("a dose by hand is entered by a person")
    return BathEntered(
        bath=bath,
        kind=DOSE,
        who=f"the pump of {dose.name}",
        utc_ms=utc_ms,
        at_utc_ms=dose.at_utc_ms,
        amounts={dose.name: dose.volume_ml, VOLUME: dose.volume_ml / 1000},
        facts=pump_doses.facts(dose.begun_utc_ms, dose.cut_short),
        run_id=run_id,
    )


def enter_unfinished(writer: Writer, bath: str, clock: Clock) -> tuple[Event, ...]:
    """Enter the doses that a dead daemon's pumps were at, each as a whole, and tell of them.

    More may not have been given, and less would let the next dose come too early. Waits for the
    disk. Raises sqlalchemy.exc.DatabaseError.
    """
    return tuple(_entered(begun, writer, bath, clock) for begun in writer.doses_begun(bath))


def _entered(begun: Begun, writer: Writer, bath: str, clock: Clock) -> Event:
    said = (
        f"the daemon ended meanwhile: between 0 and {begun.dose_ml:.4g} mL were given, "
        "and the whole is counted"
    )
    dose = DoseKept(begun.additive, begun.utc_ms, begun.dose_ml, begun.utc_ms, said)
    writer.keep_bath_entry(entry_of(bath, dose, to_ms(clock.utc()), begun.run_id))
    figures = pump_doses.figures(bath, begun.additive, begun.dose_ml, begun.utc_ms)
    text = f"a pump was giving {begun.dose_ml:.4g} mL of {begun.additive}: {said}"
    return Event(pump_doses.OVER, text, figures)
