"""A rehearsal in words: rows, warnings and cautions, for the command line and the page alike."""

from collections.abc import Iterator

from daemon.api.report import Report, Row
from daemon.api.sentence import duration
from daemon.api.socket.rehearsal import MishapTold, RangeMessage, Rehearsal, StageForeseen, Taught

CAUTION = (
    "A rehearsal is a sum on a simulated tank. It knows nothing of a part that hangs badly, of a "
    "dirty contact or an acid that is not what it was; it takes the place of no look at the tank."
)

SMALL_KWH = 0.1
"""Less than this is told in Wh."""

MODEST_RUNS = 3
"""With fewer runs, the spread is for the most part that of tanks in general."""


def verdict(found: Rehearsal) -> str:
    """In one sentence, whether it would work."""
    if found.because:
        return f"would not work, because {found.because[0]}"
    if found.duration_s is None:
        return "would work"
    return f"would work: {found.target_um:g} µm in {span(found.duration_s)}"


def report(found: Rehearsal) -> Report:
    """All of it but the curves and the mishaps."""
    rows = [
        Row("plan", found.title, typed=True),
        Row("", f"{found.target_um:g} µm on {found.area_dm2:.4g} dm²"),
        Row("verdict", verdict(found)),
        *(Row("", f"and because {each}") for each in found.because[1:]),
        *_figures(found),
        *(Row("" if place else "stages", stage(each)) for place, each in enumerate(found.stages)),
        *(Row("" if place else "falls due", each) for place, each in enumerate(found.dues)),
    ]
    if found.taught is not None:
        rows.append(Row("fitted to", taught(found.taught)))
    rows += [Row("note", each) for each in found.notes]
    return Report(tuple(rows), found.warnings, (CAUTION,))


def _figures(found: Rehearsal) -> Iterator[Row]:
    if found.duration_s is None:
        return
    yield Row("over after", f"{span(found.duration_s)}, of {found.draws} tanks that are as likely")
    if found.charge_ah is not None:
        yield Row("charge", _figure(found.charge_ah, "Ah"))
    if found.thickness_um is not None and found.because:
        yield Row("thickness", _figure(found.thickness_um, "µm"))
    if found.hottest_c is not None and found.hottest_at_s is not None:
        hottest = _figure(found.hottest_c, "°C")
        yield Row("bath", f"at most {hottest}, after {duration(found.hottest_at_s)}")
    if found.energy_kwh is not None and found.mains_kwh is not None:
        yield Row("energy", _energy(found.energy_kwh, found.mains_kwh))


def _energy(cell: RangeMessage, mains_kwh: float) -> str:
    """In kWh, or in Wh where that is little."""
    scale, unit = (1.0, "kWh") if mains_kwh >= SMALL_KWH else (1000.0, "Wh")
    scaled = RangeMessage(
        least=scale * cell.least, middle=scale * cell.middle, greatest=scale * cell.greatest
    )
    return (
        f"{_figure(scaled, unit)} in the cell, about {scale * mains_kwh:.2g} {unit} from the mains"
    )


def stage(each: StageForeseen) -> str:
    """A stage in words."""
    said = (
        f"{each.name}: from {duration(each.begins_s.middle)} to {span(each.ends_s)}, "
        f"{each.current_a:.3g} A"
    )
    if each.voltage_v is not None:
        said += f", {_figure(each.voltage_v, 'V')}"
    return f"{said}, {each.charge_ah.middle:.3g} Ah; ends by {each.ended_by}"


def taught(found: Taught) -> str:
    """What the simulated tank was fitted by, in words."""
    if not found.runs:
        said = "no run of this bath yet: the spread is that of tanks in general"
    else:
        runs = "run" if found.runs == 1 else "runs"
        said = f"voltage and current of the bath's last {found.runs} {runs}"
        if found.runs < MODEST_RUNS:
            said += ", which is little yet"
        if not found.warm_runs:
            said += "; no thermometer has told how it warms"
    return f"{said}; bath at {found.start_c:g} °C, {found.start_by}"


def span(found: RangeMessage) -> str:
    """A time and between which it lies: `7 h 02 min (6 h 58 min to 7 h 20 min)`."""
    least, middle, most = (duration(each) for each in (found.least, found.middle, found.greatest))
    return middle if least == most else f"{middle} ({least} to {most})"


def mishap(told: MishapTold) -> tuple[Row, ...]:
    """A mishap's lines, each with its time from the start; then what it needs."""
    rows = [Row(clock(line.at_s), line.text) for line in told.lines]
    return (*rows, *(Row("needs", each) for each in told.needs))


def clock(seconds: float) -> str:
    """Hours, minutes and seconds from the start: `4:12:03.5`."""
    tenths = round(seconds * 10)
    minutes, tenths = divmod(tenths, 600)
    said = f"{minutes // 60}:{minutes % 60:02d}:{tenths // 10:02d}"
    return said if tenths % 10 == 0 else f"{said}.{tenths % 10}"


def _figure(found: RangeMessage, unit: str) -> str:
    least, middle, most = (f"{each:.3g}" for each in (found.least, found.middle, found.greatest))
    if least == most:
        return f"{middle} {unit}"
    return f"{middle} {unit} ({least} to {most})"
