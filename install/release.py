"""A release: the program's sources and a virtual environment of their own, under one stamp.

Releases lie side by side; a link says which one is in use. Nothing of a release changes once it is
whole, so that going back is moving the link.
"""

import hashlib
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path

from install.errors import InstallError
from install.places import Places

SOURCES = (
    "daemon", "drivers", "hardware", "install", "web",
    "CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "README.md", "go", "pyproject.toml",
)  # fmt: skip
"""What of a clone goes into a release."""

ROOM_BYTES = 700_000_000
"""Free space that a release asks for: about twice what one takes, on 64-bit Arm and x86."""

_WHOLE = "whole"
_SKIPPED = ("__pycache__", "*.egg-info", "*.sqlite*")


@dataclass(frozen=True, slots=True)
class Release:
    """The release in `folder`, which may not be there yet."""

    folder: Path

    @property
    def name(self) -> str:
        """Its stamp."""
        return self.folder.name

    @property
    def source(self) -> Path:
        """Its sources and documents."""
        return self.folder / "source"

    @property
    def python(self) -> Path:
        """The Python that has its packages."""
        return self.folder / "venv" / "bin" / "python"

    @property
    def is_whole(self) -> bool:
        """Whether its making came to its end."""
        return (self.folder / _WHOLE).is_file()


def release_of(clone: Path, places: Places, *, pins: bool) -> Release:
    """The release that this clone makes: the same stamp for the same files, Python and extras.

    pins: whether it has the library for the Pi's pins. Raises InstallError if this is no clone.
    """
    try:
        project = tomllib.loads((clone / "pyproject.toml").read_text(encoding="utf-8"))
    except OSError as error:
        raise InstallError(f"{clone}: not tankhand's sources: {error}") from error
    digest = hashlib.sha256(f"{sys.version_info[:2]} {pins}".encode())
    for path in _files(clone):
        digest.update(f"\0{path.relative_to(clone)}\0".encode())
        digest.update(path.read_bytes())
    return Release(places.releases / f"{project['project']['version']}-{digest.hexdigest()[:8]}")


def _files(clone: Path) -> Iterator[Path]:
    for name in SOURCES:
        top = clone / name
        for path in sorted(top.rglob("*")) if top.is_dir() else [top]:
            within = path.relative_to(clone)
            skipped = any(fnmatch(part, each) for part in within.parts for each in _SKIPPED)
            if path.is_file() and not skipped:
                yield path


def make(release: Release, clone: Path, places: Places, *, pins: bool) -> None:
    """Make the release, if it is not whole yet. What fails or is broken off leaves nothing behind.

    Raises InstallError.
    """
    if release.is_whole:
        return
    shutil.rmtree(release.folder, ignore_errors=True)
    try:
        for path in _files(clone):
            to = release.source / path.relative_to(clone)
            to.parent.mkdir(parents=True, exist_ok=True)
            to.write_bytes(path.read_bytes())
            # Whatever a clone of root's or with a strict umask has: the service's user reads these.
            to.chmod(0o755 if path.stat().st_mode & 0o100 else 0o644)
        _environment(release, pins=pins)
        _name_as_installed(release, places)
        os.sync()  # whole after a power cut too
        (release.folder / _WHOLE).write_text("", encoding="utf-8")
    except BaseException:
        shutil.rmtree(release.folder, ignore_errors=True)
        raise


def _environment(release: Release, *, pins: bool) -> None:
    venv = release.python.parent.parent
    _call(f"{sys.executable} cannot make {venv}", sys.executable, "-m", "venv", str(venv))
    hint = "pip could not install the packages that pyproject.toml names; see above"
    if pins:
        hint += (
            ". If it is the library for the pins, lgpio: apt-get install swig gcc libc6-dev "
            "python3-dev, then try again. Without pins: --no-pins"
        )
    wanted = f"{release.source}[pi]" if pins else str(release.source)
    pip = (str(release.python), "-m", "pip", "--disable-pip-version-check", "install", "--quiet")
    _call(hint, *pip, wanted)
    for left in (release.source / "build", *release.source.glob("*.egg-info")):
        shutil.rmtree(left)


def _call(hint: str, *words: str) -> None:
    # Where lgpio has to be built: with its C library inside, which Debian has no package of
    # (lgpio 0.2.2.0, setup.py).
    env = os.environ | {"PYPI": "1"}
    try:
        done = subprocess.run(  # noqa: S603 - the system's and our own
            words, check=False, stdin=subprocess.DEVNULL, env=env
        )
    except OSError as error:
        raise InstallError(f"{hint}: {error}") from error
    if done.returncode != 0:
        raise InstallError(hint)


def _name_as_installed(release: Release, places: Places) -> None:
    """Have the scripts name their Python as it will be called once `root` is `/`."""
    root = str(places.root.absolute()).rstrip("/")
    for path in release.python.parent.iterdir():
        if root and path.is_file() and not path.is_symlink():
            text = path.read_bytes()
            if text.startswith(b"#!"):
                path.write_bytes(text.replace(root.encode(), b""))


def in_use(places: Places) -> Release | None:
    """The release in use; None if there is none, or it is gone."""
    try:
        folder = places.releases / places.current.readlink().name
    except OSError:
        return None
    return Release(folder) if folder.is_dir() else None


def prune(places: Places, keep: tuple[Release | None, ...]) -> list[str]:
    """Remove all releases but these; the names of those that went."""
    kept = {each.name for each in keep if each is not None}
    gone = [each for each in sorted(places.releases.iterdir()) if each.name not in kept]
    for each in gone:
        shutil.rmtree(each)
    return [each.name for each in gone]
