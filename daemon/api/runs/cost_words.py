"""What a run has used and what that cost, in words: for the page and the command line."""

from collections.abc import Iterator

from daemon.api.report import Row
from daemon.bath.cost import Cost, Energy
from daemon.record.queries import Run


def rows(run: Run, cell: Energy, used: Cost, parts: int) -> Iterator[Row]:
    """The run, what it used with prices, the sum, and with several parts that of each."""
    yield Row("run", f"{run.id}, {run.title}, {run.charge_ah:.3f} Ah")
    for item in used.items:
        price = "no price in the settings"
        if item.price is not None:
            price = f"{item.price:.2f} {used.currency}"
        yield Row(item.name, f"{item.amount:.3g} {item.unit}, {price}")
    if cell.unread_s:
        yield Row("note", f"no power is known for {cell.unread_s:.0f} s of the run")
    if len(used.unpriced) < len(used.items):
        yield Row("in all", f"{used.total:.2f} {used.currency}{_without(used)}")
        if parts > 1:
            yield Row("each part", f"{used.total / parts:.2f} {used.currency}, of {parts}")


def _without(used: Cost) -> str:
    return f", without {', '.join(used.unpriced)}" if used.unpriced else ""
