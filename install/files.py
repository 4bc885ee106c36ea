"""Writing files and links in one step each: the old or the new one is there, never half of it.

Also after a power cut, and in the order in which they were written.
"""

from pathlib import Path

from daemon.on_disk import sync, take_place


def write(path: Path, text: bytes | None) -> None:
    """Have `text` in the file `path`, which all may read; None: have no file there."""
    if text is None:
        path.unlink(missing_ok=True)
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f"{path.name}.new")
    fresh.write_bytes(text)
    fresh.chmod(0o644)
    take_place(fresh, path)


def link(path: Path, to: str | None) -> None:
    """Have the link `path` lead to `to`; None: have no link there."""
    if to is None:
        path.unlink(missing_ok=True)
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    fresh.symlink_to(to)
    fresh.replace(path)
    sync(path.parent)
