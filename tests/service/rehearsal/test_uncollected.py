"""A rehearsal's process looks for no garbage, and is as before for whoever else uses it."""

import gc
import subprocess
import sys

from daemon.service.rehearsal.uncollected import uncollected

LOST = """\
from daemon.service.rehearsal.uncollected import uncollected

class Told:
    def __del__(self):
        print("freed")

def lose():
    told = Told()
    told.itself = told

with uncollected():
    for _ in range(10_000):
        lose()
print("done")
"""


def test_nothing_is_looked_for_meanwhile_nor_at_the_end():
    ran = subprocess.run([sys.executable, "-c", LOST], capture_output=True, text=True, check=True)
    assert (ran.stdout, ran.stderr) == ("done\n", "")


def test_afterwards_it_is_as_before():
    with uncollected():
        assert not gc.isenabled()
    assert gc.isenabled()


def test_and_where_nothing_was_collected_nothing_is():
    gc.disable()
    try:
        with uncollected():
            pass
        assert not gc.isenabled()
    finally:
        gc.enable()
