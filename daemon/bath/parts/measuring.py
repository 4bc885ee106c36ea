"""The process that measures a mesh: `daemon.bath.parts.apart` starts it and takes its answer.

Its limits come first, before anything that is large is loaded.
"""

import base64
import json
import os
import resource
import sys
from dataclasses import asdict
from typing import Any

from daemon.bath.errors import PartError
from daemon.bath.parts.asked import Asked, Question

_NICE = 10


def main() -> None:
    """Read what is asked and the file from standard input, and answer on standard output."""
    os.nice(_NICE)  # a tank that plates on the same machine goes first
    head = json.loads(sys.stdin.buffer.readline())
    limits = head["limits"]
    _limit(resource.RLIMIT_AS, limits["memory_bytes"])
    _limit(resource.RLIMIT_CPU, limits["processor_s"])
    # What went wrong is told in the answer; a core file would be as large as the mesh.
    _limit(resource.RLIMIT_CORE, 0)
    sys.stdout.write(json.dumps(_answer(sys.stdin.buffer.read(), Asked(**head["asked"]))))


def _limit(what: int, most: int) -> None:
    _, hard = resource.getrlimit(what)
    if hard != resource.RLIM_INFINITY:
        most = min(most, hard)
    resource.setrlimit(what, (most, most if what == resource.RLIMIT_CORE else hard))


def _answer(data: bytes, asked: Asked) -> dict[str, Any]:
    try:
        from daemon.bath.parts.mesh import measured

        found = measured(data, asked)
    except PartError as error:
        return {"error": str(error)}
    except MemoryError:
        return {"error": "needs more memory than it may have: simplify the mesh"}
    tree = asdict(found)
    if isinstance(found, Question):
        return {"question": tree}
    return {"found": {**tree, "picture": base64.b64encode(found.picture).decode()}}


if __name__ == "__main__":
    main()
