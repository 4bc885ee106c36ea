"""Runs every benchmark of this folder, one after the other, each with its own defaults."""

import subprocess
import sys
from pathlib import Path

NAMES = (
    "step", "rehearsal", "intervals", "accuracy", "record", "runs", "recount", "throughput",
    "idle", "off", "reaction", "crowd", "first_view",
    "lateness",
)  # fmt: skip


def main() -> int:
    """Run them; returns the first exit code that is not 0."""
    for name in NAMES:
        script = Path(__file__).with_name(f"{name}.py")
        code = subprocess.run([sys.executable, script], check=False).returncode
        if code:
            return code
    return 0


if __name__ == "__main__":
    sys.exit(main())
