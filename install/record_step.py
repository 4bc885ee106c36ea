"""At which step a record's tables are: `python -m install.record_step RECORD`.

Run as the record's owner, since SQLite may make files beside it.
"""

import sqlite3
import sys
from contextlib import closing
from pathlib import Path
from urllib.parse import quote


def main(path: Path) -> int:
    """Print the step of the record at `path`; the exit code."""
    try:
        with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)) as record:
            (step,) = record.execute("SELECT version_num FROM alembic_version").fetchone()
    except (sqlite3.Error, TypeError) as error:
        sys.stderr.write(f"{path}: {error}\n")
        return 1
    sys.stdout.write(f"{step}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
