"""A make-up, a mixture or a topping-up as the command line prints it."""

import re
import textwrap
from collections.abc import Iterator, Sequence

from daemon.api.making.make_up_report import MakeUpReport

WIDTH = 96
"""Columns, in a terminal and in a file alike, so that both can be compared."""

_GAP = "  "
_NO_BREAK = "\N{NO-BREAK SPACE}"
# No line ends between a figure and its unit.
_BEFORE_UNIT = re.compile(r"(?<=[0-9]) (?=(?:g|kg|mg|mL|L|oz|lb|fl|gal|°C|%|wt)\b|%|°)")


def text(report: MakeUpReport) -> str:
    """Title, rows, what to weigh and pour, warnings, steps with their cautions."""
    blocks = [
        [report.title],
        [*_rows(report)],
        [*_lines(report)],
        [*_marked("!", report.warnings)],
        [*_steps(report)],
        [*_marked("!", report.cautions)],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _rows(report: MakeUpReport) -> Iterator[str]:
    width = max((len(row.name) for row in report.rows), default=0)
    for row in report.rows:
        yield from _hung(f"{row.name:<{width}}{_GAP}", row.text)


def _lines(report: MakeUpReport) -> Iterator[str]:
    if not report.lines:
        return
    yield report.heading
    yield from _columns(
        [(line.what, line.mass, line.volume, line.us, line.cost) for line in report.lines]
    )
    if report.cost:
        yield f"{_GAP}cost{_GAP}{report.cost}"


def _columns(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Names to the left, figures to the right of their columns; no column that is empty."""
    kept = [column for column in zip(*rows, strict=True) if any(column)]
    widths = [max(map(len, column)) for column in kept]
    for row in zip(*kept, strict=True):
        name, *figures = row
        cells = [f"{name:<{widths[0]}}"]
        cells += [f"{figure:>{width}}" for figure, width in zip(figures, widths[1:], strict=True)]
        yield (_GAP + _GAP.join(cells)).rstrip()


def _steps(report: MakeUpReport) -> Iterator[str]:
    for number, step in enumerate(report.steps, 1):
        yield from _hung(f"{number:>2}. ", step.text)
        for caution in step.cautions:
            yield from _hung("    ! ", caution)


def _marked(mark: str, texts: tuple[str, ...]) -> Iterator[str]:
    for each in texts:
        yield from _hung(f"{mark} ", each)


def _hung(first: str, rest: str) -> list[str]:
    """Wrapped, the first line after `first`, the others beneath its text."""
    lines = textwrap.wrap(
        _BEFORE_UNIT.sub(_NO_BREAK, rest),
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_NO_BREAK, " ") for line in lines]
