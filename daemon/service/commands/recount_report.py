"""A counted log as the command line prints it."""

import math

from daemon.api.sentence import duration
from daemon.chemistry.uncertainty import Budget
from daemon.control.tally import CurrentIs, Tally
from daemon.service.commands.recounting import GAP_INTERVALS, Recounted

CONFIDENCE = 0.95


def text(counted: Recounted) -> str:
    """How the log was read, then what it comes to, a line each; groups last."""
    lines = [*_read_as(counted), *_came_to(counted)]
    if counted.request.told.group_column is not None:
        lines += ["", *_groups(counted)]
    return "\n".join(lines)


def sure(budget: Budget, unit: str) -> str:
    """Tell a value with its interval: `24.8 µm ± 0.9 µm (95 %)`, the doubt with two digits."""
    half = budget.expanded(CONFIDENCE)
    if half == 0:
        return f"{budget.value:.6g} {unit}"
    digits = max(0, 1 - math.floor(math.log10(half)))
    value = f"{budget.value:.{digits}f} {unit}"
    return f"{value} ± {half:.{digits}f} {unit} ({100 * CONFIDENCE:g} %)"


def _read_as(counted: Recounted) -> list[str]:
    log, rule = counted.log, counted.rule
    time, current = log.layout.time, log.layout.current
    mean = "a mean since the row before"
    sample = "a sample at the row's time"
    kind = mean if rule.current_is is CurrentIs.MEAN else sample
    sign = ", sign reversed" if counted.request.told.reverse else ""
    lines = [
        f"log        {log.where}",
        f"time       column {time.name}, {time.form}",
        f"current    column {current.name}, {current.form}, {kind}{sign}",
        f"rows       {counted.rows}",
    ]
    unread = log.unread
    if unread.rows:
        lines.append(
            f"not read   {unread.rows} rows, the first on line {unread.first_line}: {unread.why}"
        )
    return lines


def _came_to(counted: Recounted) -> list[str]:
    total, request = counted.total, counted.request
    lines = [f"covered    {duration(total.covered_s)}", *_breaks(counted)]
    lines.append(f"charge     {total.in_ah:.6g} Ah in, {total.out_ah:.6g} Ah out")
    lines.append(f"net        {sure(counted.charge, 'Ah')}")
    if not request.accuracy.of_meter_is_told:
        lines.append("           nothing was told of the meter's accuracy, which adds to the doubt")
    lines.append(f"mass       {sure(counted.mass, 'g')} of {request.metal.name}")
    thickness = counted.thickness
    if thickness is not None:
        on = f"on {request.area_dm2:g} dm², efficiency {100 * request.efficiency:g} %"
        lines.append(f"thickness  {sure(thickness, 'µm')} {on}")
    lines += _doubt(thickness or counted.mass, "µm" if thickness else "g")
    return lines


def _breaks(counted: Recounted) -> list[str]:
    total, limit_s = counted.total, counted.rule.gap_limit_s
    how = "" if counted.request.gap_limit_s else f", {GAP_INTERVALS} usual intervals"
    limit = f"(rows more than {limit_s:.6g} s apart{how})"
    lines = [f"gaps       none {limit}"]
    if total.gaps:
        lines = [
            f"gaps       {total.gaps}, {total.gap_s:.6g} s in all {limit}: between "
            f"{total.gap_least_ah:.6g} Ah and {total.gap_greatest_ah:.6g} Ah passed, "
            "and the middle is in the net charge"
        ]
    told = (
        (total.repeated, "rows repeat the time before and add nothing"),
        (total.behind, "rows are older than the one before and add nothing"),
        (total.set_back, "times the clock was set back; the interval is lost"),
    )
    return lines + [f"clock      {number} {what}" for number, what in told if number]


def _doubt(budget: Budget, unit: str) -> list[str]:
    """The budget's shares as standard uncertainties, in % of their sum of squares."""
    if not budget.u:
        return []
    shares = sorted(budget.shares, key=lambda share: -share.u)
    told = [f"{share.name} {100 * (share.u / budget.u) ** 2:.0f} %" for share in shares if share.u]
    return [f"doubt      u = {budget.u:.2g} {unit}, of u²: {', '.join(told)}"]


def _groups(counted: Recounted) -> list[str]:
    name = counted.log.layout.group_name or ""
    width = max(len(name), *map(len, counted.groups))
    heads = ("rows", "in Ah", "out Ah", "net Ah", "gaps", "gaps s")
    rows = [(group, *_figures(tally)) for group, tally in counted.groups.items()]
    return [
        f"{group:<{width}}" + "".join(f"  {figure:>11}" for figure in figures)
        for group, *figures in ((name, *heads), *rows)
    ]


def _figures(tally: Tally) -> tuple[str, ...]:
    charges = (f"{ah:.6f}" for ah in (tally.in_ah, tally.out_ah, tally.net_ah))
    return (str(tally.readings), *charges, str(tally.gaps), f"{tally.gap_s:.1f}")
