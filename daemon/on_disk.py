"""Files that change as a whole: after a power cut there is the old one or the new one."""

import os
from pathlib import Path


def take_place(new: Path, place: Path) -> None:
    """Have the bytes of `new` on the disk, then its name be `place`, for good. Raises OSError.

    Both are in one folder, which is on the disk as well in the end.
    """
    sync(new)
    new.replace(place)
    sync(place.parent)


def sync(path: Path) -> None:
    """Have a file's bytes, or a folder's names, on the disk. Raises OSError."""
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
