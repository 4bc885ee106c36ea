"""A status as the command line prints it."""

from daemon.api import meters, pump_words
from daemon.api.bath import due_words
from daemon.api.rounding import thickness_with_doubt
from daemon.api.runs.causes import causes
from daemon.api.sentence import clock, duration, sentence, utc_of
from daemon.api.socket.messages import RunStatus, Status


def text(status: Status) -> str:
    """The plain sentence, then the figures, a line each; no line for what is not there."""
    lines = [sentence(status)]
    if status.run is not None:
        lines += _run_lines(status.run)
    lines.append(f"current    {_or_none(status.current_a, 'A')}")
    lines.append(f"voltage    {_or_none(status.voltage_v, 'V')}")
    lines += _meter_lines(status)
    lines.append(f"bath       {status.bath}, {status.bath_charge_ah:.3f} Ah")
    due = due_words.short(status.dues)
    lines += [f"due        {due}"] if due else []
    lines += [f"pump       {pump_words.line(pump, status)}" for pump in status.pumps]
    lines += [
        f"temp.      {meters.temperature(seen, status.rate)}, {seen.name}"
        for seen in status.thermometers
    ]
    lines.append(f"supply     {status.supply}")
    return "\n".join(lines + alarm_lines(status))


def alarm_lines(status: Status) -> list[str]:
    """Each alarm that is not over: what was seen, what was done, what to check, what it needs."""
    lines = []
    for alarm in status.alarms:
        first = ", first out" if alarm.first_out else ""
        shelf = alarm.shelved_until_utc
        until = "" if shelf is None else f" until {clock(utc_of(shelf), utc_of(status.utc), None)}"
        by = f" by {alarm.acknowledged_by}" if alarm.life == "acknowledged" else ""
        lines += [
            f"alarm {alarm.number:<4} {alarm.cause}: {alarm.seen}",
            f"           {alarm.priority} priority, {alarm.life}{by}{until}{first}",
            f"           {alarm.did}",
            f"           Look at {alarm.check}.",
            f"           {alarm.need}",
        ]
    return lines


def _meter_lines(status: Status) -> list[str]:
    """Each meter, if there are several; and the ripple that they see, while something plates."""
    lines = []
    if len(status.meters) > 1:
        lines += [
            f"meter      {meter.name}, {_or_none(meter.current_a, 'A')}, "
            f"{meters.standing(meter, status)}"
            for meter in status.meters
        ]
    lines += [f"ripple     {name}, {said}" for name, said in meters.ripples(status).items()]
    return lines


def _run_lines(run: RunStatus) -> list[str]:
    stage = run.stages[run.stage]
    lines = [
        f"run        {run.run_id}, {run.title}",
        f"stage      {run.stage + 1} of {len(run.stages)}, {stage.name}",
        f"thickness  {thickness_with_doubt(run)}, target {run.target_um:g} µm",
        *_doubt_lines(run),
        f"charge     {run.charge_ah:.4f} Ah, {run.mass_g:.3f} g of {run.metal}",
    ]
    if run.remaining_s is not None:
        lines.append(f"to go      {duration(run.remaining_s)}")
    return lines


def _doubt_lines(run: RunStatus) -> list[str]:
    """What the doubt of the thickness is made of, where one is known."""
    found = [f"{cause.label} {cause.part_um:.2f} µm" for cause in causes(run)]
    return [f"doubt of   {', '.join(found)}"] if found else []


def _or_none(value: float | None, unit: str) -> str:
    return "not read" if value is None else f"{value:.3f} {unit}"
