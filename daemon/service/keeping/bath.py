"""The daemon's side of the bath's account: what persons enter, kept in the asker's thread."""

import threading
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy.exc import DatabaseError

from daemon.api.errors import InputError
from daemon.api.socket.messages import BathEntryRequest
from daemon.bath import account, book, kinds
from daemon.bath.account import Standing
from daemon.bath.book import Book
from daemon.bath.components import VOLUME
from daemon.bath.description import Description
from daemon.bath.due import Dues, dues
from daemon.bath.errors import EntryError
from daemon.bath.kinds import Amounts, Facts
from daemon.clock import Clock, to_ms
from daemon.record.bath_entries import BathEntry, summed
from daemon.record.entries import Audited, BathEntered
from daemon.record.errors import RecordError
from daemon.record.store import open_reader
from daemon.record.writer import Writer

WHO = "tankhand, by its settings"
"""Who describes the bath, in the record."""


@dataclass(frozen=True, slots=True)
class Kept:
    """An entry that is on the disk: its number, and what whoever made it should know besides."""

    number: int
    notes: tuple[str, ...] = ()


def book_by(
    path: Path, description: Description, clock: Clock, stack: ExitStack
) -> Callable[[], Book]:
    """The bath's book in the record at `path`, for any thread; `stack` closes it."""
    engine = open_reader(path)
    stack.callback(engine.dispose)

    def read() -> Book:
        with engine.connect() as connection:
            return book.read(connection, description, to_ms(clock.utc()))

    return read


class BathKeeper:
    """Takes entries for the bath of the description, in any thread; `writer` keeps them.

    `read` gives the bath as the record has it; `dues` is what falls due by that, as of the last
    entry.
    """

    def __init__(
        self, description: Description, writer: Writer, clock: Clock, read: Callable[[], Book]
    ) -> None:
        self.dues = Dues()
        self._read = read
        self._description = description
        self._writer = writer
        self._clock = clock
        self._one_at_a_time = threading.Lock()

    def describe(self) -> None:
        """Enter the description, if it is another than the last.

        Waits for the disk. Raises sqlalchemy.exc.DatabaseError.
        """
        entries = self._writer.bath_entries(self._description.name)
        if account.description_on(entries) != self._description:
            now_ms = to_ms(self._clock.utc())
            self._writer.keep_bath_entry(
                BathEntered(
                    bath=self._description.name,
                    kind=kinds.DESCRIPTION,
                    who=WHO,
                    utc_ms=now_ms,
                    at_utc_ms=now_ms,
                    facts=self._description.to_json(),
                )
            )
        self.dues = dues(self._read())

    def enter(self, request: BathEntryRequest) -> Kept:
        """Check the entry and keep it, with who asked for it.

        Waits for the disk. Raises InputError and RecordError when nothing was kept, with the
        reason; sqlalchemy.exc.DatabaseError when the disk refuses.
        """
        with self._one_at_a_time:
            utc_ms = to_ms(self._clock.utc())
            asked = Audited(utc_ms, request.who, request.where, "enter", request.kind)
            entries = self._writer.bath_entries(self._description.name)
            try:
                made = self._made(request, entries, utc_ms)
                number = self._writer.keep_bath_entry(made, asked)
            except (InputError, RecordError) as error:
                self._writer.keep_audit(replace(asked, refused=str(error)))
                raise
            notes = self._notes((*entries, BathEntry(number, made)))
            try:
                self.dues = dues(self._read())
            except (RecordError, DatabaseError) as error:
                # The entry is kept, and whoever made it has to hear that.
                notes += (f"what is due is shown as it was before: {error}",)
        return Kept(number, notes)

    def _made(
        self, request: BathEntryRequest, entries: tuple[BathEntry, ...], utc_ms: int
    ) -> BathEntered:
        if request.kind == kinds.CORRECTION:
            return self._correction(request, entries, utc_ms)
        if request.corrects is not None or request.facts is None:
            raise InputError(request.kind, ("only a correction corrects or withdraws an entry",))
        at_utc_ms = utc_ms if request.at_utc is None else to_ms(request.at_utc)
        if request.at_utc is not None and at_utc_ms > utc_ms:
            raise InputError(
                "at",
                (f"{request.at_utc.isoformat(' ')} is still to come; by the daemon's clock it is "
                 f"{self._clock.utc().isoformat(' ', 'seconds')}",),
            )  # fmt: skip
        self._check(request.kind, request.amounts, request.facts, entries)
        return BathEntered(
            bath=self._description.name,
            kind=request.kind,
            who=request.who,
            utc_ms=utc_ms,
            at_utc_ms=at_utc_ms,
            amounts=request.amounts,
            facts=dict(request.facts),
            note=request.note,
            run_id=request.run,
        )

    def _correction(
        self, request: BathEntryRequest, entries: tuple[BathEntry, ...], utc_ms: int
    ) -> BathEntered:
        """What brings the entry that is corrected to what the request says."""
        if request.corrects is None:
            raise InputError(request.kind, ("needs the number of the entry that it corrects",))
        if request.at_utc is not None or request.run is not None:
            raise InputError(
                request.kind,
                ("keeps time and run of what it corrects: withdraw that and enter it anew",),
            )
        before = account.one(entries, request.corrects)
        where = f"entry {before.id}"
        if before.kind == kinds.DESCRIPTION:
            raise InputError(where, ("describes the bath: change the settings instead",))
        if request.facts is None:
            if before.withdrawn:
                raise InputError(where, ("is withdrawn already",))
            if request.amounts:
                raise InputError(where, ("what is withdrawn has no amounts",))
        else:
            self._check(before.kind, request.amounts, request.facts, entries)
        difference = _difference(before, request.amounts)
        same = (before.facts, before.newest.made.note) == (request.facts, request.note)
        if not difference and same:
            raise InputError(where, ("says that already",))
        return BathEntered(
            bath=self._description.name,
            kind=kinds.CORRECTION,
            who=request.who,
            utc_ms=utc_ms,
            at_utc_ms=before.at_utc_ms,
            amounts=difference,
            facts=None if request.facts is None else dict(request.facts),
            note=request.note,
            run_id=before.run_id,
            corrects_id=before.newest.id,
        )

    def _check(
        self, kind: str, amounts: Amounts, facts: Facts, entries: tuple[BathEntry, ...]
    ) -> None:
        names = dict.fromkeys((*self._description.additive_names, *account.additives_ever(entries)))
        try:
            kinds.check(kind, amounts, facts, self._description, tuple(names))
        except EntryError as error:
            raise InputError(kind, (str(error),)) from error

    def _notes(self, entries: tuple[BathEntry, ...]) -> tuple[str, ...]:
        """What the newest of the entries brings about that somebody should know."""
        brim_l, level = self._description.brim_l, account.level(entries, self._description)
        added_l = entries[-1].made.amounts.get(VOLUME, 0.0)
        if brim_l is None or level is None or added_l <= 0 or level.volume_l <= brim_l:
            return ()
        return (
            f"by the account the bath now has {level.volume_l:.3g} L, and the brim is at "
            f"{brim_l:.3g} L: if water evaporated meanwhile, say which level you see",
        )


def _difference(before: Standing, wanted: Amounts) -> dict[str, float]:
    """What has to be added to the entry's amounts to make them what is wanted."""
    found = {
        substance: summed([wanted.get(substance, 0.0), -before.amounts.get(substance, 0.0)])
        for substance in sorted({*before.amounts, *wanted})
    }
    return {substance: amount for substance, amount in found.items() if amount != 0}
