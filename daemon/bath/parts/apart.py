"""Measures a mesh in a process of its own, whose memory and time are bounded.

Whatever is in a file, it can cost that process's life and nothing else; and neither the loop nor
the page ever loads what reads meshes. The first line that goes over is `Asked` as JSON, then come
the file's bytes; back come `Found`, `Question` or an error as JSON.
"""

import base64
import json
import os
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path

from daemon.bath.errors import PartError
from daemon.bath.parts.asked import KINDS, Asked, Found, Question

MOST_BYTES = 64 * 2**20
"""Of a file. 1,000,000 triangles of a binary STL are 48 MB."""

MOST_MEMORY_BYTES = 2 * 2**30
MOST_PROCESSOR_S = 300
"""What the process may have. The greatest files that are taken need about two thirds of the memory;
a Pi needs some minutes for them (estimated, not measured)."""

_PATIENCE = 4  # times the processor's seconds, where others want the processor too


def kind_of(path: Path) -> str:
    """Which of `KINDS` a file is by its name's end. Raises PartError."""
    kind = path.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise PartError(f"expected a file that ends in .{', .'.join(KINDS)}, got {path.name!r}")
    return kind


def read_file(path: Path) -> bytes:
    """A mesh file's bytes; one that is too large is refused before it is read. Raises PartError."""
    try:
        if not path.is_file():
            raise PartError("there is no such file")
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise PartError(_too_large(size))
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise PartError(f"cannot be read: {error.strerror or error}") from error
    if len(data) > MOST_BYTES:
        raise PartError(_too_large(len(data)))
    return data


def _too_large(size: int) -> str:
    return (
        f"{size / 2**20:.0f} MB, at most {MOST_BYTES / 2**20:.0f} MB are taken: simplify the mesh, "
        "or write it as binary STL"
    )


def measured(
    data: bytes,
    asked: Asked,
    *,
    most_memory_bytes: int = MOST_MEMORY_BYTES,
    most_processor_s: int = MOST_PROCESSOR_S,
) -> Found | Question:
    """Measure the mesh in a file's bytes, or say what has to be told first. Raises PartError."""
    if len(data) > MOST_BYTES:
        raise PartError(_too_large(len(data)))
    limits = {"memory_bytes": most_memory_bytes, "processor_s": most_processor_s}
    line = json.dumps({"asked": asdict(asked), "limits": limits}).encode() + b"\n"
    try:
        done = subprocess.run(
            [sys.executable, "-m", "daemon.bath.parts.measuring"],
            input=line + data,
            capture_output=True,
            timeout=_PATIENCE * most_processor_s,
            cwd=Path(__file__).parents[3],
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise PartError(_out_of_time(most_processor_s)) from error
    if done.returncode:
        raise PartError(_ended(done.returncode, done.stderr, most_processor_s))
    answer = json.loads(done.stdout)
    if "error" in answer:
        raise PartError(answer["error"])
    if "question" in answer:
        question = answer["question"]
        return Question(question["about"], question["text"], tuple(question["choices"]))
    found = answer["found"]
    return Found(
        **{
            **found,
            "extents_mm": tuple(found["extents_mm"]),
            "picture": base64.b64decode(found["picture"]),
        }
    )


def _out_of_time(most_s: int) -> str:
    return f"takes more than {most_s} s of the processor: simplify the mesh"


def _ended(code: int, said: bytes, most_s: int) -> str:
    """What a process's end without an answer means."""
    import signal

    if code in (-signal.SIGXCPU, -signal.SIGKILL):
        return _out_of_time(most_s)
    lines = said.decode(errors="replace").strip().splitlines()
    return f"cannot be measured: {lines[-1] if lines else f'the measuring ended with {code}'}"
