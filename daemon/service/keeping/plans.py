"""The daemon's side of kept plans: it alone writes their files, each whole or not at all."""

import hashlib
import json
import threading
from pathlib import Path

from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from daemon.api.plans.file import PlanFile
from daemon.api.plans.kept import (
    SUFFIX,
    Rehearsed,
    kept_plan,
    kept_plans,
    named,
    rehearsals,
    rehearsals_at,
)
from daemon.api.socket.plans import DropPlanRequest, KeepPlanRequest
from daemon.clock import Clock, to_ms
from daemon.on_disk import take_place
from daemon.record.entries import Audited
from daemon.record.writer import Writer

CHANGED = "has been changed meanwhile: open it again, or keep this one by another name"


class PlanKeeper:
    """Keeps plans in `folder`, in any thread; who asked for it goes to the record by `writer`."""

    def __init__(self, folder: Path, writer: Writer, clock: Clock) -> None:
        self._folder = folder
        self._writer = writer
        self._clock = clock
        self._lock = threading.Lock()

    def keep(self, request: KeepPlanRequest) -> None:
        """Keep a plan that can be read, in place of the one that its asker has seen.

        Waits for the disk. Raises InputError when nothing was kept, with the reason;
        sqlalchemy.exc.DatabaseError when the record refuses.
        """
        with self._lock:
            try:
                name = named(request.name)
                read_toml(request.plan, "plan", PlanFile)
                self._as_seen(name, request.seen)
                self._writer.keep_audit(self._asked(request, "keep a plan"))
                self._write(self._folder / f"{name}{SUFFIX}", request.plan.encode())
            except InputError as error:
                self._writer.keep_audit(self._asked(request, "keep a plan", str(error)))
                raise

    def drop(self, request: DropPlanRequest) -> None:
        """Delete a plan's file, if it is the one that its asker has seen. Raises as `keep`."""
        with self._lock:
            try:
                name = named(request.name)
                self._as_seen(name, request.seen)
                self._writer.keep_audit(self._asked(request, "delete a plan"))
                try:
                    (self._folder / f"{name}{SUFFIX}").unlink()
                except OSError as error:
                    raise InputError(name, (f"the disk refuses: {error.strerror}",)) from error
            except InputError as error:
                self._writer.keep_audit(self._asked(request, "delete a plan", str(error)))
                raise

    def rehearsed(self, plan: str, *, works: bool) -> None:
        """Note that a plan was rehearsed, if it is one that is kept. A disk may refuse it."""
        sha256, utc_ms = hashlib.sha256(plan.encode()).hexdigest(), to_ms(self._clock.utc())
        with self._lock:
            try:
                kept = kept_plans(self._folder)
                known = rehearsals(self._folder)
                known |= {
                    each.name: Rehearsed(sha256=sha256, utc_ms=utc_ms, works=works)
                    for each in kept
                    if each.sha256 == sha256
                }
                names = {each.name for each in kept}
                told = {name: known[name].model_dump() for name in sorted(known) if name in names}
                if told:
                    self._write(rehearsals_at(self._folder), json.dumps(told).encode())
            except (OSError, InputError):
                return

    def _as_seen(self, name: str, seen: str | None) -> None:
        """Refuse where the file is not the one that was seen."""
        try:
            there = kept_plan(self._folder, name)
        except OSError as error:
            raise InputError(name, (f"cannot be read: {error.strerror or error}",)) from error
        if there is None and seen is not None:
            raise InputError(name, ("is not kept any more",))
        if there is not None and seen is None:
            raise InputError(name, ("a plan of this name is kept already: take another name",))
        if there is not None and there.sha256 != seen:
            raise InputError(name, (CHANGED,))

    def _write(self, path: Path, data: bytes) -> None:
        new = path.with_name(f".{path.name}.new")
        try:
            self._folder.mkdir(exist_ok=True)
            new.write_bytes(data)
            take_place(new, path)
        except OSError as error:
            new.unlink(missing_ok=True)
            said = f"the disk does not take it: {error.strerror or error}"
            raise InputError(path.stem, (said,)) from error

    def _asked(
        self, request: KeepPlanRequest | DropPlanRequest, what: str, refused: str | None = None
    ) -> Audited:
        utc_ms = to_ms(self._clock.utc())
        return Audited(utc_ms, request.who, request.where, what, request.name, refused)
