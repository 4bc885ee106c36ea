"""A report as the command line prints it."""

import textwrap

from daemon.api.report import Report

_NAME_WIDTH = 11
_WIDTH = 110


def printed(report: Report) -> str:
    """Each row's name and text, then warnings and cautions, folded to `_WIDTH` columns."""
    rows = [(row.name, row.text) for row in report.rows]
    rows += [("warning", text) for text in report.warnings]
    rows += [("caution", text) for text in report.cautions]
    width = max([_NAME_WIDTH, *(len(name) + 2 for name, _ in rows)])
    lines: list[str] = []
    for name, text in rows:
        lines += textwrap.wrap(
            text, _WIDTH, initial_indent=name.ljust(width), subsequent_indent=" " * width,
            break_long_words=False, break_on_hyphens=False,
        )  # fmt: skip
    return "\n".join(lines)
