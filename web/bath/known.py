"""The bath as the daemon and the record tell of it, for pages that are filled in from it."""

from dataclasses import dataclass

from daemon.api.sentence import utc_of
from daemon.api.socket.messages import Status
from daemon.bath import account
from daemon.bath.book import Book
from daemon.bath.description import Description
from daemon.clock import to_ms
from daemon.record.errors import RecordError
from web.record import Runs
from web.tank import Tank


@dataclass(frozen=True, slots=True)
class Known:
    """The bath as far as it is known; `absent` says why its book cannot be read."""

    status: Status | None
    book: Book | None
    absent: str = ""

    @property
    def description(self) -> Description:
        """How it is described; a bath without a name, where nothing is known."""
        return Description("") if self.book is None else self.book.description

    @property
    def bath(self) -> str | None:
        """The name of the bath whose account takes entries now."""
        return None if self.status is None or self.book is None else self.status.bath

    @property
    def additives(self) -> tuple[str, ...]:
        """All additives that its account has ever known."""
        if self.book is None:
            return ()
        names = (*self.description.additive_names, *account.additives_ever(self.book.entries))
        return tuple(dict.fromkeys(names))


def known(tank: Tank, runs: Runs) -> Known:
    """Ask the daemon which bath it is, and the record what is known of it."""
    status = tank.status()
    if status is None:
        return Known(None, None)
    try:
        return Known(status, runs.book(status.bath, to_ms(utc_of(status.utc))))
    except RecordError as error:
        return Known(status, None, str(error))
