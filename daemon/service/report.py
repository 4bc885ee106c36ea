"""A status as the command line prints it."""

from daemon.api.messages import RunStatus, Status
from daemon.api.rounding import thickness_with_doubt
from daemon.api.sentence import duration, sentence


def text(status: Status) -> str:
    """The plain sentence, then the figures, a line each."""
    lines = [sentence(status)]
    if status.run is not None:
        lines += _run_lines(status.run)
    lines.append(f"current    {_or_none(status.current_a, 'A')}")
    lines.append(f"voltage    {_or_none(status.voltage_v, 'V')}")
    lines.append(f"bath       {status.bath}, {status.bath_charge_ah:.3f} Ah")
    lines.append(f"supply     {status.supply}")
    return "\n".join(lines)


def _run_lines(run: RunStatus) -> list[str]:
    stage = run.stages[run.stage]
    lines = [
        f"run        {run.run_id}, {run.title}",
        f"stage      {run.stage + 1} of {len(run.stages)}, {stage.name}",
        f"thickness  {thickness_with_doubt(run)}, target {run.target_um:g} µm",
        f"charge     {run.charge_ah:.4f} Ah, {run.mass_g:.3f} g of {run.metal}",
    ]
    if run.remaining_s is not None:
        lines.append(f"to go      {duration(run.remaining_s)}")
    return lines


def _or_none(value: float | None, unit: str) -> str:
    return "not read" if value is None else f"{value:.3f} {unit}"
