"""Bytes that nobody would send, for everything that takes bytes from outside.

    .venv/bin/pip install atheris
    .venv/bin/python tests/campaign/fuzz.py --seconds 600 [TARGET...]

atheris (libFuzzer) looks for bytes that lead to lines not reached before, one target after the
other, each in a process of its own and in a new one every half minute, with the target's known
bytes to begin with and those that led further since. Without atheris, or
with `--plain`, known bytes are changed at random: no search, and it needs nothing. A target may
take the bytes or refuse them in its own way (`fuzzing/targets.py`); all else is a defect, which is
printed with its bytes in hexadecimal; `--replay TARGET HEX` does it again. Exits with 1 on any.
"""

import argparse
import json
import logging
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from rich.console import Console

if TYPE_CHECKING:
    from fuzzing.targets import Target

LONGEST = 16_384
"""Bytes at most; more make the search slow and find the same."""

SLOW_S = 10
"""s for one input, after which it counts as a defect."""

MEMORY_MB = 2048

ROUND_S = 30.0
"""s that one process searches: what is taken costs memory, of a mesh a megabyte each time."""


@dataclass(frozen=True)
class Told:
    """What became of a target: how many inputs, how many it took, and the first defect."""

    inputs: int
    taken: int
    defect: str | None
    data: bytes = b""


def changed(seed: bytes, random: Random) -> bytes:
    """The bytes, changed in a few places: one other, one less, some again, some of chance."""
    data = bytearray(seed)
    for _ in range(random.randint(1, 6)):
        at = random.randrange(len(data) + 1)
        piece = data[at : at + random.randint(1, 20)]
        what = random.randrange(5)
        if what == 0:
            data[at : at + 1] = random.randbytes(1)
        elif what == 1:
            del data[at : at + len(piece)]
        elif what == 2:
            data[at:at] = piece * random.randint(1, 8)
        elif what == 3:
            data[at:at] = random.choice(TOKENS)
        elif data:
            data[at % len(data)] ^= 1 << random.randrange(8)
    return bytes(data[:LONGEST])


TOKENS = (
    b"nan", b"-inf", b"1e999", b"-0", b"9" * 30, b"\0", b"\xff\xfe", b'"', b"[[", b"]]", b"\n",
    b"{}", b"null", b"true", b"1979-05-27", "\N{GREEK SMALL LETTER MU}m".encode(),
)  # fmt: skip
"""What readers of numbers and tables have stumbled on before."""


def defect_of(target: "Target", data: bytes) -> tuple[bool, str | None]:
    """Whether the target took the bytes, and what is wrong with how it did not."""
    try:
        return target.take(data), None
    except Exception as error:  # whatever comes out is what is looked for
        return False, f"{type(error).__name__}: {error}"


def plain(target: "Target", seconds: float, seed: int) -> Told:
    """Known bytes, changed at random, for so long."""
    random, inputs, taken = Random(seed), 0, 0
    end_s = time.monotonic() + seconds
    while time.monotonic() < end_s:
        data = changed(random.choice(target.seeds), random)
        was_taken, defect = defect_of(target, data)
        inputs, taken = inputs + 1, taken + was_taken
        if defect is not None:
            return Told(inputs, taken, defect, data)
    return Told(inputs, taken, None)


def search(name: str, seconds: float, seed: int, told: Path) -> None:
    """What a process of its own does: libFuzzer never returns. What came of it is in `told`."""
    import atheris

    # Only what is imported within is watched: our own, and not all of numpy.
    with atheris.instrument_imports(include=["daemon", "drivers"]):
        from fuzzing.targets import TARGETS
    target, inputs, taken = TARGETS[name], 0, 0
    end_s = time.monotonic() + seconds

    def one(data: bytes) -> None:
        nonlocal inputs, taken
        was_taken, defect = defect_of(target, data)
        inputs, taken = inputs + 1, taken + was_taken
        if defect is not None or time.monotonic() > end_s:
            told.write_text(json.dumps([inputs, taken, defect, data.hex()]))
            os._exit(0)

    corpus = told.parent / "known"
    if not corpus.exists():
        corpus.mkdir()
        for number, known in enumerate(target.seeds):
            (corpus / str(number)).write_bytes(known)
    options = [
        f"-max_len={LONGEST}", f"-seed={seed}", f"-timeout={SLOW_S}", f"-rss_limit_mb={MEMORY_MB}",
        f"-artifact_prefix={told.parent}/",
    ]  # fmt: skip
    atheris.Setup([sys.argv[0], *options, str(corpus)], one)
    atheris.Fuzz()


def searched(name: str, seconds: float, seed: int) -> Told:
    """The same in one process after the other, each with what those before it have found."""
    found, end_s = Told(0, 0, None), time.monotonic() + seconds
    with tempfile.TemporaryDirectory() as folder:
        while found.defect is None and (left_s := end_s - time.monotonic()) > 0.0:
            more = one_round(name, min(ROUND_S, left_s), seed, Path(folder))
            found = Told(
                found.inputs + more.inputs, found.taken + more.taken, more.defect, more.data
            )
            seed += 1
    return found


def one_round(name: str, seconds: float, seed: int, folder: Path) -> Told:
    """The search in a process, which may die of the bytes."""
    told = folder / "told"
    told.unlink(missing_ok=True)
    words = ["--search", name, "--told", told, "--seconds", seconds, "--seed", seed]
    done = subprocess.run(
        [sys.executable, __file__, *map(str, words)],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False,
    )  # fmt: skip
    if told.exists():
        inputs, taken, defect, data = json.loads(told.read_text())
        return Told(inputs, taken, defect, bytes.fromhex(data))
    left = [each.read_bytes() for each in folder.iterdir() if each.is_file()]
    why = done.stderr.strip().splitlines()[-1:] or ["nothing said"]
    return Told(0, 0, f"it ended with {done.returncode}: {why[0]}", (left or [b""])[0])


def main() -> int:
    """Try the targets one after the other; 1 if anything was wrong."""
    parser = argparse.ArgumentParser()
    parser.add_argument("targets", nargs="*", metavar="TARGET")
    parser.add_argument("--seconds", type=float, default=60.0, help="for each target")
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--plain", action="store_true")
    parser.add_argument("--search", help=argparse.SUPPRESS)
    parser.add_argument("--told", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--replay", nargs=2, metavar=("TARGET", "HEX"))
    options = parser.parse_args()
    logging.disable()  # libraries tell of what they refuse
    if options.search:
        search(options.search, options.seconds, options.seed, options.told)
    from fuzzing.targets import TARGETS

    unknown = sorted({*options.targets, *(options.replay or [])[:1]} - set(TARGETS))
    if unknown:
        parser.error(f"no target {', '.join(unknown)}; there are: {', '.join(TARGETS)}")
    if options.replay:
        name, data = options.replay
        TARGETS[name].take(bytes.fromhex(data))
        return 0
    seed = options.seed if options.seed is not None else Random().randrange(2**31)
    say = Console(highlight=False, markup=False, soft_wrap=True).print
    say(f"seed {seed}")
    wrong = False
    for name in options.targets or TARGETS:
        told = (
            plain(TARGETS[name], options.seconds, seed)
            if options.plain
            else searched(name, options.seconds, seed)
        )
        say(f"{name:20} {told.inputs:9} inputs, {told.taken} taken")
        if told.defect is not None:
            wrong = True
            say(f"  {told.defect}\n  --replay '{name}' {told.data.hex()}")
    return int(wrong)


if __name__ == "__main__":
    sys.exit(main())
