"""The service's unit: what systemd itself says of it, and that it fits what it starts."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.service import realtime
from daemon.service.commands.cli import main
from daemon.service.settings.file import GuardTable
from daemon.service.supervision import guard

UNIT = Path(__file__).parent.parent / "hardware" / "tankhand.service"
INSTALLED = "/opt/tankhand/current/venv/bin/"
MOST_EXPOSED = 25
"""Tenths of systemd's points, 0 to 100: "OK" ends at 50. Later versions ask for more."""

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None,
    reason="systemd-analyze is missing: apt-get install systemd",
)


def settings():
    """The unit's settings in order: key and value."""
    lines = UNIT.read_text(encoding="utf-8").splitlines()
    return [tuple(line.split("=", 1)) for line in lines if "=" in line and line[0] not in "#["]


def value(key):
    (found,) = [text for name, text in settings() if name == key]
    return found


@pytest.fixture
def here(tmp_path):
    """The unit as if tankhand were installed where it is now."""
    path = tmp_path / UNIT.name
    text = UNIT.read_text(encoding="utf-8")
    path.write_text(text.replace(INSTALLED, f"{Path(sys.executable).parent}/"), encoding="utf-8")
    return path


def analyze(*words):
    return subprocess.run(
        ["systemd-analyze", *map(str, words)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


@needs_systemd
def test_systemd_has_nothing_to_say_about_it(here):
    done = analyze("verify", "--man=no", here)
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


@needs_systemd
def test_systemd_finds_what_is_wrong_in_such_a_unit(here):
    here.write_text(here.read_text().replace("WatchdogSec=10", "WatchdogSec=ten"))
    assert "Failed to parse sec value, ignoring: ten" in analyze("verify", here).stderr


@needs_systemd
def test_it_is_as_closed_as_it_says(here):
    done = analyze("security", "--offline=true", f"--threshold={MOST_EXPOSED}", here)
    assert done.returncode == 0, done.stdout


def test_what_it_runs_exists():
    started = [value("ExecStart"), value("ExecStopPost")]
    assert started == [f"{INSTALLED}tankhand serve", f"{INSTALLED}tankhand off"]
    assert {line.split()[1] for line in started} <= main.commands.keys()


def test_its_limits_leave_the_guard_time_to_do_its_job():
    assert float(value("TimeoutStartSec")) > guard.START_LIMIT_S
    assert float(value("TimeoutStopSec")) > guard.STOP_LIMIT_S
    # The loop's beats, from which the watchdog is fed, may be this far apart.
    assert float(value("WatchdogSec")) > 4 * GuardTable().beat_limit


def test_its_text_gives_the_time_for_a_repair_as_it_is():
    text = UNIT.with_name("service.md").read_text(encoding="utf-8")
    assert text.count(f"{guard.RESTORE_LIMIT_S:.0f} s") == 2


def test_it_always_starts_again():
    assert value("Restart") == "always"
    assert value("StartLimitIntervalSec") == "0"


def test_only_the_guard_is_listened_to():
    assert value("Type") == "notify"
    assert value("NotifyAccess") == "main"


def test_real_time_is_allowed_and_not_given():
    """Given by the unit, the guard would have it and hand it down to the page."""
    assert int(value("LimitRTPRIO")) == realtime.PRIORITY
    assert not [key for key, _ in settings() if key.startswith("CPUScheduling")]
    assert "RestrictRealtime" not in dict(settings())
