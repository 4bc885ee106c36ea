"""A bath of 12 L without a record, and a plan on it, ready to be rehearsed."""

import pytest

from daemon.service.rehearsal.assembly import Asked, prepared
from daemon.service.settings.file import read_settings

PLAN = """\
title = "Night"
area = "2 dm²"
target = "25 µm"
voltage_ceiling = "6 V"
caps = { charge = "5 Ah", duration = "8 h" }
[[stage]]
name = "build"
current = "4 A"
ramp = "2 min"
"""

SETTINGS = """\
supply = {{ port = "none", greatest_current = "5 A" }}
[bath]
name = "bath A"
volume = "12 L"
{more}
"""


@pytest.fixture
def staged(tmp_path):
    """Make settings, with `more` in them, and a stage on which so many parts hang."""

    def staged(copies=1, more=""):
        path = tmp_path / "settings.toml"
        path.write_text(SETTINGS.format(more=more), encoding="utf-8")
        settings = read_settings(path)
        return settings, prepared(settings, Asked(PLAN, "plan", copies=copies))

    return staged
