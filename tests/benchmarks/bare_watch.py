"""The floor of `reaction.py`: a bare loop that reads, compares, and writes "off".

`python bare_watch.py PORT PERIOD LIMIT` switches the output on for each line that comes on standard
input, asks for current and voltage every PERIOD seconds on an absolute grid, and switches off at
the first reading above LIMIT, A. Then it prints the median length of its exchanges (both questions
and both answers), s, and waits for the next line.
"""

import statistics
import sys
import time

import serial
from harness import CEILING_V, CURRENT_A


def watch(line: serial.Serial, period_s: float, limit_a: float) -> list[float]:
    """Read until there is too much current, and switch off; the exchanges' lengths, s."""
    lengths_s: list[float] = []
    due_s = time.monotonic()
    while True:
        asked_s = time.monotonic()
        line.write(b"MEAS:CURR?\n")
        current_a = float(line.read_until(b"\n"))
        line.write(b"MEAS:VOLT?\n")
        float(line.read_until(b"\n"))
        if current_a > limit_a:
            line.write(b"OUTP OFF\n")
            return lengths_s
        lengths_s.append(time.monotonic() - asked_s)
        due_s += period_s
        time.sleep(max(0.0, due_s - time.monotonic()))


def main(port: str, period_s: float, limit_a: float) -> None:
    """Watch anew for each line of standard input."""
    with serial.Serial(port, timeout=0.5) as line:
        for command in (f"CURR {CURRENT_A}", f"VOLT {CEILING_V}"):
            line.write(command.encode() + b"\n")
        for _ in sys.stdin:
            line.write(b"OUTP ON\n")
            lengths_s = watch(line, period_s, limit_a)
            sys.stdout.write(f"{statistics.median(lengths_s)}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]), float(sys.argv[3]))
