"""The service under a systemd that runs a system: what booted_debian.sh boots a Debian for.

Run by systemd in there, as root; the standard library only, as nothing else is there at first. The
supply is a simulated one, a service of its own. Ends the system by its exit code: 0, or 1 and a
line that says what was not as it has to be.
"""

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

CLONE = Path("/root/tankhand")
STATE = Path("/var/lib/tankhand")
SETTINGS = Path("/etc/tankhand/settings.toml")
TANK = Path("/run/tank")
BEFORE_BOOT = Path("/var/lib/booted-before")
"""There once the system was told to boot anew; holds how many runs there were."""

PLAN = """\
title = "Scrap"
area = "1 dm²"
target = "25 µm"
voltage_ceiling = "6 V"
caps = { charge = "3 Ah", duration = "5 h" }
[[stage]]
name = "all of it"
current = "0.5 A"
ramp = "1 s"
"""
GONE_A = 1e-3
PATIENCE_S = 180.0
"""Real s that a start may take here; the unit gives it 150."""

TANK_UNIT = f"""\
[Unit]
Before=tankhand.service
[Service]
Type=notify
NotifyAccess=all
User=tankhand
RuntimeDirectory=tank
ExecStart=/opt/tankhand/current/venv/bin/python {__file__} tank
[Install]
WantedBy=multi-user.target
"""


class WrongError(Exception):
    """Something is not as it has to be."""


def tank() -> None:
    """Serve the simulated supply at a lasting name, and write down what really flows."""
    from drivers.simulator.process import SimulatorProcess  # the release's

    with SimulatorProcess(seed=1) as simulator:
        (TANK / "port").symlink_to(simulator.port)
        subprocess.run(["systemd-notify", "--ready"], check=True)
        while True:
            (TANK / "new").write_text(str(simulator.truth().current_a), encoding="utf-8")
            (TANK / "new").replace(TANK / "current_a")
            time.sleep(0.02)


def say(text: str) -> None:
    sys.stdout.write(f"{time.strftime('%T')} {text}\n")
    sys.stdout.flush()


def call(*words: str, code: int = 0) -> str:
    """Call a program that has to end with this code; what it said."""
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    said = (done.stdout + done.stderr).strip()
    if done.returncode != code:
        raise WrongError(f"{' '.join(words)}: code {done.returncode} and not {code}: {said}")
    return said


def has_to_be(what: str, found: object, wanted: object) -> None:
    if found != wanted:
        raise WrongError(f"{what}: {found!r} and not {wanted!r}")


def wait(what: str, until: Callable[[], object]) -> float:
    """Wait until something is so; the s that it took."""
    began_s = time.monotonic()
    while not until():
        if time.monotonic() > began_s + PATIENCE_S:
            raise WrongError(f"not within {PATIENCE_S:.0f} s: {what}")
        time.sleep(0.02)
    return time.monotonic() - began_s


def unit(name: str) -> str:
    """A property of the service."""
    return call("systemctl", "show", f"--property={name}", "--value", "tankhand")


def status() -> dict[str, Any]:
    """What the daemon says of itself; nothing if it does not answer."""
    with socket.socket(socket.AF_UNIX) as connection:
        connection.settimeout(15)
        try:
            connection.connect("/run/tankhand/control.sock")
            connection.sendall(b'{"ask": "status"}\n')
            answer: dict[str, Any] = json.loads(connection.makefile("rb").readline() or b"{}")
        except (OSError, ValueError):
            return {}
    return answer.get("status") or {}


def flows_a() -> float:
    """What really flows through the tank, A."""
    return float((TANK / "current_a").read_text(encoding="utf-8"))


def process(words: str) -> int:
    """The process of the service whose command line has these words; 0: none."""
    members = Path("/sys/fs/cgroup/systemd/system.slice/tankhand.service/cgroup.procs")
    if not members.exists():  # the one hierarchy of newer systems
        members = Path("/sys/fs/cgroup/system.slice/tankhand.service/cgroup.procs")
    for number in members.read_text(encoding="utf-8").split():
        line = Path("/proc", number, "cmdline").read_bytes().replace(b"\0", b" ").decode()
        if words in line:
            return int(number)
    return 0


def runs() -> list[str]:
    """The state of each run in the record, oldest first: "running" of one that is under way."""
    record = sqlite3.connect(f"file:{STATE}/record.sqlite?mode=ro", uri=True)
    try:
        (sound,) = record.execute("PRAGMA integrity_check").fetchone()
        has_to_be("the record", sound, "ok")
        return [state for (state,) in record.execute("SELECT state FROM run ORDER BY id")]
    finally:
        record.close()


def install() -> None:
    """README's command, and what systemd says of what is installed then."""
    say(call("sh", "go", "install", "--yes").splitlines()[-1])
    has_to_be("the service, installed", unit("ActiveState"), "inactive")
    has_to_be(
        "what systemd has to say", call("systemd-analyze", "verify", unit("FragmentPath")), ""
    )
    say(call("systemd-analyze", "security", "--no-pager", "tankhand").splitlines()[-1].strip("→ "))


def fill_in() -> None:
    """The settings, the supply, and a person who may act: as README says."""
    Path("/etc/systemd/system/tank.service").write_text(TANK_UNIT, encoding="utf-8")
    call("systemctl", "enable", "--now", "tank")
    text = SETTINGS.read_text(encoding="utf-8")
    text = text.replace("/dev/serial/by-id/usb-YOUR_SUPPLY-if00", str(TANK / "port"))
    SETTINGS.write_text(f'{text}\n[page]\nlisten = "127.0.0.1:18080"\n', encoding="utf-8")
    # A supply on another kind of port: service.md.
    extra = Path("/etc/systemd/system/tankhand.service.d/port.conf")
    extra.parent.mkdir()
    extra.write_text("[Service]\nDeviceAllow=char-pts rw\n", encoding="utf-8")
    call("systemctl", "daemon-reload")
    call("useradd", "--create-home", "anna")
    call("usermod", "-aG", "tankhand", "anna")
    Path("/home/anna/scrap.toml").write_text(PLAN, encoding="utf-8")


def by_anna(*words: str) -> str:
    return call("runuser", "-u", "anna", "--", "tankhand", *words)


def start() -> None:
    began_s = time.monotonic()
    call("systemctl", "enable", "--now", "tankhand")
    say(f"ready after {time.monotonic() - began_s:.0f} s: {by_anna('status').splitlines()[0]}")
    has_to_be("the service", unit("ActiveState"), "active")
    _real_time()


def _real_time() -> None:
    """The loop, and it alone, goes first: where this machine may be given that right at all."""
    limits = Path("/proc", str(process("daemon.service.main")), "limits")
    if re.search(r"^Max realtime priority +0 ", limits.read_text("ascii"), re.MULTILINE):
        say("real time: NOT TRIED, as nobody may raise its limit on this machine")
        return
    for words, wanted in (
        ("tankhand serve", os.SCHED_OTHER),
        ("daemon.service.main", os.SCHED_FIFO),
        ("-m web", os.SCHED_OTHER),
    ):
        has_to_be(f"scheduling of {words}", os.sched_getscheduler(process(words)), wanted)
    say("the loop, and it alone, runs in real time")


def plate() -> None:
    """Have a run under way, with its current in the tank."""
    if status()["state"] == "aborted":
        by_anna("reset")
    wait("no current before a start", lambda: flows_a() < GONE_A)
    by_anna("run", "/home/anna/scrap.toml")
    wait("the plan's current", lambda: flows_a() > 0.4)


def at_rest(blow: str, gone_s: float, restarts: int) -> None:
    """After a blow: ready again by itself, and nothing plated by itself."""
    ready_s = wait(
        f"{blow}: ready again",
        lambda: unit("SubState") == "running" and status().get("reading_age_s") is not None,
    )
    has_to_be(f"{blow}: current", flows_a() < GONE_A, True)
    has_to_be(f"{blow}: output on", status()["output_on"], False)
    has_to_be(f"{blow}: a run under way", "running" in runs(), False)
    more = int(unit("NRestarts")) - restarts
    say(
        f"{blow}: current gone after {gone_s:.2f} s, ready after {gone_s + ready_s:.0f} s, "
        f"restarted by systemd: {more}, ended: {runs()[-1]}"
    )


def strike() -> None:
    """What service.md has tried before the service is trusted."""
    for name, words, number in (
        ("loop killed", "daemon.service.main", signal.SIGKILL),
        ("loop hung", "daemon.service.main", signal.SIGSTOP),
        ("guard killed", "tankhand serve", signal.SIGKILL),
        ("guard hung", "tankhand serve", signal.SIGSTOP),
    ):
        plate()
        restarts = int(unit("NRestarts"))
        os.kill(process(words), number)
        at_rest(name, wait(f"{name}: no current", lambda: flows_a() < GONE_A), restarts)
    plate()
    began_s = time.monotonic()
    call("systemctl", "stop", "tankhand")
    has_to_be("stopped by systemctl: current", flows_a() < GONE_A, True)
    say(f"systemctl stop: {time.monotonic() - began_s:.1f} s, ended: {runs()[-1]}")
    call("systemctl", "start", "tankhand")


def refused_during_a_run() -> None:
    plate()
    for command in ("install", "uninstall"):
        if command == "install":
            (CLONE / "CHANGELOG.md").open("a", encoding="utf-8").write("\n")
        said = call("sh", "go", command, "--yes", code=1)
        has_to_be(f"{command} during a run", "a run is under way" in said, True)
    has_to_be("the run", status()["state"], "running")
    say("install and uninstall are refused during a run, and it goes on")


def boot_anew() -> None:
    """Have the system boot during a run; does not come back."""
    BEFORE_BOOT.write_text(str(len(runs())), encoding="utf-8")
    say("booting anew, during a run")
    call("systemctl", "reboot")
    signal.pause()


def booted_anew() -> None:
    wait("ready after the boot", lambda: status().get("reading_age_s") is not None)
    has_to_be("current after the boot", flows_a() < GONE_A, True)
    has_to_be("output on after the boot", status()["output_on"], False)
    has_to_be("runs since", len(runs()), int(BEFORE_BOOT.read_text(encoding="utf-8")))
    say(f"booted: {by_anna('status').splitlines()[0]}; the run ended: {runs()[-1]}")


def upgrade() -> None:
    """To a release that works, then to one that does not get ready: back to the one before."""
    before = Path("/opt/tankhand/current").readlink()
    call("sh", "go", "install", "--yes")
    after = Path("/opt/tankhand/current").readlink()
    has_to_be("another release", after != before, True)
    has_to_be("the service, upgraded", unit("ActiveState"), "active")
    say(f"upgraded from {before.name} to {after.name}")
    main = CLONE / "daemon" / "service" / "main.py"
    text = main.read_text(encoding="utf-8")
    main.write_text(f"raise SystemExit(3)\n{text}", encoding="utf-8")
    said = call("sh", "go", "install", "--yes", code=1)
    main.write_text(text, encoding="utf-8")
    has_to_be("said so", "The service runs again" in said, True)
    has_to_be("the release", Path("/opt/tankhand/current").readlink(), after)
    has_to_be("the service, as before", bool(status()), True)
    say(f"one that does not get ready: {said.splitlines()[-1]}")


def uninstall() -> None:
    known = runs()
    backups = sorted((STATE / "backups").iterdir())
    call("sh", "go", "uninstall", "--yes")
    has_to_be("the unit", unit("LoadState"), "not-found")
    for path in ("/opt/tankhand", "/usr/local/bin/tankhand", "/run/tankhand"):
        has_to_be(path, Path(path).exists(), False)
    has_to_be("current", flows_a() < GONE_A, True)
    has_to_be("the runs in the record", runs(), known)
    has_to_be("backups", sorted((STATE / "backups").iterdir()), backups)
    has_to_be("settings", SETTINGS.is_file(), True)
    say(f"removed; {len(known)} runs, {len(backups)} backups and the settings are there")


def main() -> int:
    """All of it, up to the boot and from there on."""
    try:
        if not BEFORE_BOOT.exists():
            for step in (install, fill_in, start, strike, refused_during_a_run, boot_anew):
                step()
        for step in (booted_anew, upgrade, uninstall):
            step()
    except WrongError as error:
        say(f"WRONG: {error}")
        say(call("journalctl", "--no-pager", "-n", "30", "-u", "tankhand", "-u", "tank"))
        return 1
    say("all as it has to be")
    return 0


if __name__ == "__main__":
    if sys.argv[1:] == ["tank"]:
        tank()
    code = 1
    try:
        code = main()
    finally:
        call("systemctl", "exit", str(code))
