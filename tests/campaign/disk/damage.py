"""A disk that loses its power: what was synced lasts, of the rest only a part. Pure.

What is taken for granted: a sync of any file also keeps the directory's changes that came before
it, as ext4's journal does; and the card's own cache is emptied when it is told to. A card that lies
about that breaks every design.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from random import Random

from disk.tracing import Op

SECTOR_BYTES = 512

Files = dict[str, bytes]


class _File:
    """What a name stands for, until it is unlinked."""

    def __init__(self, content: bytes = b"") -> None:
        self.content = bytearray(content)

    def change(self, op: Op) -> None:
        """Write to it, or cut it off."""
        if op.what == "truncate":
            self.content[op.offset :] = bytes(max(0, op.offset - len(self.content)))
        else:
            self.content.extend(bytes(max(0, op.offset - len(self.content))))
            self.content[op.offset : op.offset + len(op.data)] = op.data


class Disk:
    """What is asked of it, op by op: what lasts, and what a cut at this moment may take.

    `files` are there at first. With `flushes` False no sync keeps anything.
    """

    def __init__(self, files: Files | None = None, *, flushes: bool = True) -> None:
        self._flushes = flushes
        self._lasting = {name: _File(content) for name, content in (files or {}).items()}
        self._names = dict(self._lasting)
        # What was asked and not synced: changes of files, and of the directory.
        self._changes: list[tuple[_File, Op]] = []
        self._entries: list[tuple[str, _File | None]] = []

    def take(self, op: Op) -> None:
        """One more thing is asked."""
        if op.what == "create" and op.name not in self._names:
            self._names[op.name] = _File()
            self._entries.append((op.name, self._names[op.name]))
        elif op.what == "unlink" and op.name in self._names:
            del self._names[op.name]
            self._entries.append((op.name, None))
        elif op.what in ("write", "truncate"):
            self._changes.append((self._names[op.name], op))
        elif op.what == "sync" and self._flushes:
            self._sync(self._names.get(op.name))

    def _sync(self, file: _File | None) -> None:
        _enter(self._lasting, self._entries)
        self._entries = []
        rest = []
        for each, op in self._changes:
            if each is file:
                each.change(op)
            else:
                rest.append((each, op))
        self._changes = rest

    def whole(self) -> Files:
        """The files as the program sees them."""
        return self._after(self._changes, len(self._entries))

    def cut(self, damage: "Damage", random: Random) -> Files:
        """The files after a power cut now. Of the directory's changes the first ones last."""
        ops = [op for _, op in self._changes]
        files = [file for file, _ in self._changes]
        kept = [(files[number], op) for number, op in damage(ops, random)]
        whole = damage is all_of_it
        entries = len(self._entries) if whole else random.randint(0, len(self._entries))
        return self._after(kept, 0 if damage is none else entries)

    def _after(self, changes: Sequence[tuple[_File, Op]], entries: int) -> Files:
        names = dict(self._lasting)
        _enter(names, self._entries[:entries])
        copies = {id(file): _File(file.content) for file in names.values()}
        for file, op in changes:
            if id(file) in copies:
                copies[id(file)].change(op)
        return {name: bytes(copies[id(file)].content) for name, file in names.items()}


def _enter(names: dict[str, _File], entries: Sequence[tuple[str, _File | None]]) -> None:
    for name, file in entries:
        if file is None:
            names.pop(name, None)
        else:
            names[name] = file


Kept = Sequence[tuple[int, Op]]
"""What lasts of a list of ops, each with its number in it; a torn one is shorter than it was."""

Damage = Callable[[Sequence[Op], Random], Kept]


def none(pending: Sequence[Op], random: Random) -> Kept:
    """Nothing that was not synced lasts."""
    return ()


def all_of_it(pending: Sequence[Op], random: Random) -> Kept:
    """All of it lasts."""
    return list(enumerate(pending))


def prefix(pending: Sequence[Op], random: Random) -> Kept:
    """What was asked first lasts."""
    return list(enumerate(pending))[: random.randint(0, len(pending))]


def subset(pending: Sequence[Op], random: Random) -> Kept:
    """Some of it lasts, whichever."""
    return [each for each in enumerate(pending) if random.random() < 0.5]


def tail(pending: Sequence[Op], random: Random) -> Kept:
    """What was asked last lasts."""
    return list(enumerate(pending))[random.randint(0, len(pending)) :]


def torn(pending: Sequence[Op], random: Random) -> Kept:
    """What was asked first lasts, and of the last write of it a part."""
    kept = list(prefix(pending, random))
    if kept and kept[-1][1].what == "write":
        number, op = kept[-1]
        kept[-1] = number, replace(op, data=op.data[: random.randint(0, len(op.data))])
    return kept


def sectors(pending: Sequence[Op], random: Random) -> Kept:
    """Some sectors of what was written last, whichever."""
    kept = []
    for number, op in enumerate(pending):
        if op.what != "write":
            kept.append((number, op))
            continue
        at, end = op.offset, op.offset + len(op.data)
        while at < end:
            until = min(end, (at // SECTOR_BYTES + 1) * SECTOR_BYTES)
            if random.random() < 0.5:
                data = op.data[at - op.offset : until - op.offset]
                kept.append((number, replace(op, offset=at, data=data)))
            at = until
    return kept


DAMAGES: dict[str, Damage] = {
    "none": none,
    "all": all_of_it,
    "prefix": prefix,
    "subset": subset,
    "tail": tail,
    "torn": torn,
    "sectors": sectors,
}
