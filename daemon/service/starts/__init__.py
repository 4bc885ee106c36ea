"""Before a run: what is known, what it will meet with, whether it can work, going on with one."""
