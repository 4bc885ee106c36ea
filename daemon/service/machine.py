"""What the machine says of itself for the record: its boot, and whether its clock is set."""

from pathlib import Path

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
SYNCHRONISED = Path("/run/systemd/timesync/synchronized")


def boot_id() -> str:
    """The kernel's name for this boot; monotonic times compare only within one."""
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return "unknown"


def clock_synchronised() -> bool | None:
    """Whether systemd has set the wall clock from the network; None where that is not told."""
    if not SYNCHRONISED.parent.is_dir():
        return None
    return SYNCHRONISED.exists()
