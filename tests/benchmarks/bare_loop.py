"""The baseline: a bare loop that asks a supply the two questions and writes a CSV row, flushed.

`python bare_loop.py PORT FILE` goes on until it is killed. It is what one writes in ten minutes:
pyserial as its manual shows it, no checks, no error handling.
"""

import csv
import sys
import time
from pathlib import Path

import serial
from harness import CEILING_V, CURRENT_A


def main(port: str, path: str) -> None:
    """Switch the supply on as the daemon's plan does, then read and write for ever."""
    with serial.Serial(port, timeout=0.5) as line, Path(path).open("w", newline="") as file:
        rows = csv.writer(file)
        for command in (f"CURR {CURRENT_A}", f"VOLT {CEILING_V}", "OUTP ON"):
            line.write(command.encode() + b"\n")
        while True:
            line.write(b"MEAS:CURR?\n")
            current_a = float(line.read_until(b"\n"))
            line.write(b"MEAS:VOLT?\n")
            voltage_v = float(line.read_until(b"\n"))
            rows.writerow((time.monotonic(), current_a, voltage_v))
            file.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
