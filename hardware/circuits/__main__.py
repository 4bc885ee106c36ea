"""`python -m hardware.circuits`: makes drawings, parts lists, pin map and figures anew."""

import sys

from hardware.circuits.pages import documents, drawings


def main() -> int:
    """Write what differs, and say what was written."""
    for path, text in (documents() | drawings()).items():
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
