"""What a calculation comes to, as data: the page and the command line show it each in its way."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """A line: what it is, and the figure or sentence. Without a name it goes on with the last.

    typed: the text has words of a person's, in which a figure stays as it was typed.
    """

    name: str
    text: str
    typed: bool = False


@dataclass(frozen=True, slots=True)
class Report:
    """Rows in order; what should make the reader think again; what may hurt somebody."""

    rows: tuple[Row, ...]
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    def __add__(self, other: "Report") -> "Report":
        """One after the other; a warning or caution that both have is there once."""
        return Report(
            self.rows + other.rows,
            tuple(dict.fromkeys(self.warnings + other.warnings)),
            tuple(dict.fromkeys(self.cautions + other.cautions)),
        )
