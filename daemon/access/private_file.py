"""Small files that nobody but their owner may read, always whole.

A file is written beside its place, has reached the disk before it takes that place, and so does the
folder: a power cut leaves the old one or the new one.
"""

import fcntl
import os
import stat
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Generic, TypeVar

from daemon.access.errors import UnreadableError
from daemon.on_disk import take_place

Held = TypeVar("Held")

OWNER_ONLY = 0o600
MOST_BYTES = 1 << 20
"""Far more than all operators and sessions together; anything larger is not ours."""


def read_private(path: Path) -> str | None:
    """The file's text; None where there is none.

    Raises `UnreadableError`, also for a file that others may read: what it held is no secret.
    """
    try:
        fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise UnreadableError(f"{path}: cannot be read: {error.strerror or error}") from error
    with os.fdopen(fd, "rb") as file:
        known = os.fstat(fd)
        if not stat.S_ISREG(known.st_mode):
            raise UnreadableError(f"{path}: is no file")
        if known.st_mode & 0o077:
            raise UnreadableError(
                f"{path}: others may read or write it (mode {known.st_mode & 0o777:03o}): "
                "chmod 600, and have every operator given a new password"
            )
        data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise UnreadableError(f"{path}: is larger than {MOST_BYTES} bytes")
    try:
        return data.decode()
    except UnicodeDecodeError as error:
        raise UnreadableError(f"{path}: is not UTF-8 text: {error}") from error


def write_private(path: Path, text: str) -> None:
    """Put the text there, whole or not at all; for whoever holds `locked`. Raises OSError.

    Written by root it belongs to the folder's owner, which is who the daemon runs as.
    """
    new = path.with_name(f"{path.name}.new")
    new.unlink(missing_ok=True)
    fd = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, OWNER_ONLY)
    with os.fdopen(fd, "wb") as file:
        if os.geteuid() == 0:
            folder = path.parent.stat()
            os.fchown(fd, folder.st_uid, folder.st_gid)
        file.write(text.encode())
    take_place(new, path)


class Watched(Generic[Held]):
    """What `read` makes of the file at `path`, read anew when it has changed.

    Safe to share between threads.
    """

    def __init__(self, path: Path, read: Callable[[], Held]) -> None:
        self._path = path
        self._read = read
        self._lock = threading.Lock()
        self._known: tuple[tuple[int, int, int] | None, Held] | None = None

    def now(self) -> Held:
        """What the file holds. Raises what `read` does, which is then asked again the next time."""
        with self._lock:
            stamp = self._stamp()
            # Without a file nothing is kept: it may be there again in the same instant.
            if self._known is None or stamp is None or stamp != self._known[0]:
                self._known = stamp, self._read()
            return self._known[1]

    def _stamp(self) -> tuple[int, int, int] | None:
        """What is another one after each `write_private`; None where there is no file."""
        try:
            known = self._path.stat()
        except OSError:
            return None
        return known.st_ino, known.st_mtime_ns, known.st_size


@contextmanager
def locked(folder: Path, *, wait: bool = True) -> Iterator[None]:
    """Let nobody else change our files in this folder meanwhile.

    Raises OSError; BlockingIOError where somebody does just now and `wait` is false.
    """
    fd = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        yield
    finally:
        os.close(fd)
