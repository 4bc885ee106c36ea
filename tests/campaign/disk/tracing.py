"""Runs a program under strace, and reads what it asked of the disk: each write, truncate, sync."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

MARKS = "marks"
"""The file to which a program writes a line when something is done: `mark`."""

HERE = Path(__file__).parents[1]
PATH = os.pathsep.join([str(HERE), str(HERE.parents[1])])
"""Where a program that is traced finds its modules."""

CALLS = "openat,write,pwrite64,ftruncate,fsync,fdatasync,unlink,rename"


@dataclass(frozen=True, slots=True)
class Op:
    """One thing asked of the disk.

    what: "create", "write", "truncate", "sync", "unlink" or "mark". name: the file's path below
    the folder. offset: where `data` is written; how long a file is cut to. data: of a mark, the
    line.
    """

    what: str
    name: str
    offset: int = 0
    data: bytes = b""


def traces() -> bool:
    """Whether a program may be traced here: strace is installed, and nobody forbids it."""
    if shutil.which("strace") is None:
        return False
    return subprocess.run(["strace", "-qq", "-o", os.devnull, "true"], check=False).returncode == 0


def mark(folder: Path, word: str) -> None:
    """Leave a line among what is traced: what was asked before it, is done."""
    with (folder / MARKS).open("ab", buffering=0) as file:
        file.write(f"{word}\n".encode())


def trace(
    program: Path, arguments: Sequence[object], log: Path
) -> subprocess.CompletedProcess[str]:
    """Run a Python program, and write to `log` what it asked of the disk."""
    return subprocess.run(
        [
            "strace", "-qq", "-xx", "-y", "-s", "1000000", "-e", f"trace={CALLS}",
            "-o", log, sys.executable, program, *map(str, arguments),
        ],
        text=True, capture_output=True, check=False, env={**os.environ, "PYTHONPATH": PATH},
    )  # fmt: skip


_CALL = re.compile(r"(\w+)\((.*)\) += (-?\d+)")
_FD = re.compile(r"^\d+<((?:\\x[0-9a-f]{2})*)>(?:\(deleted\))?(?:, |$)")
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')


def read_ops(log: Path, folder: Path) -> Iterator[Op]:
    """What was asked of the files in `folder`, in order; of calls that failed nothing is left.

    Raises ValueError at a line that is not understood: nothing may be missed.
    """
    known: set[str] = set()
    with log.open(encoding="ascii") as lines:
        for line in lines:
            if line.startswith(("+++", "---")):
                continue
            found = _CALL.match(line)
            if found is None:
                raise ValueError(f"{log}: cannot be read: {line[:200]}")
            call, words, gave = found[1], found[2], int(found[3])
            if gave >= 0:
                yield from _op(call, words, gave, folder, known)


def _op(call: str, words: str, gave: int, folder: Path, known: set[str]) -> Iterator[Op]:
    text = _TEXT.search(words)
    if call in ("openat", "unlink"):
        path = Path(_bytes(text[1]).decode()) if text else Path()
    elif call == "rename":
        path = Path()
        if any(str(folder) in _bytes(each).decode() for each in _TEXT.findall(words)):
            raise ValueError(f"a rename is not foreseen: {words}")
    else:
        held = _FD.match(words)
        path = Path(_bytes(held[1]).decode()) if held else Path()
    if not path.is_relative_to(folder) or path.name.endswith(("-shm", ".lock")):
        return
    name = str(path.relative_to(folder))
    if call == "openat":
        if "O_CREAT" in words and name not in known and path.name != MARKS:
            known.add(name)
            yield Op("create", name)
    elif call == "unlink":
        known.discard(name)
        yield Op("unlink", name)
    elif call in ("fsync", "fdatasync"):
        yield Op("sync", name)
    elif call == "ftruncate":
        yield Op("truncate", name, int(words.rpartition(",")[2]))
    else:
        data = _bytes(text[1])[:gave] if text else b""
        if path.name == MARKS:
            yield Op("mark", name, data=data.strip())
        elif call == "write":
            raise ValueError(f"a write without its place is not foreseen: {words[:200]}")
        else:
            yield Op("write", name, int(words.rpartition(",")[2]), data)


def _bytes(text: str) -> bytes:
    return bytes.fromhex(text.replace("\\x", ""))
