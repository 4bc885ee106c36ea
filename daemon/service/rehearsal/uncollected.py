"""For a process that ends with its work: nothing is looked for that could be freed meanwhile.

Python looks through all objects again and again while a program is loaded, and once more at the
process's end, when its memory is given back anyway: a sixth of a rehearsal's time. Forks would copy
what is looked through.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Iterator[None]:
    """Let no garbage be collected; what is there afterwards is not looked through any more."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if before:
            gc.enable()
