"""Removing it: the program goes, what people have put into it stays."""

import pytest

from install.__main__ import main, uninstall
from install.errors import InstallError
from tests.install.conftest import Tank


def test_record_settings_and_backups_stay(
    running: Tank, capsys: pytest.CaptureFixture[str]
) -> None:
    (running.places.backups / "kept").touch()
    site = running.site(running.folder / "clone-1")
    uninstall(site, None)
    assert running.calls == [
        "systemctl disable --now tankhand", "systemctl daemon-reload", "udevadm control --reload",
        "udevadm trigger --subsystem-match=hwmon --subsystem-match=gpio",
    ]  # fmt: skip
    places = running.places
    for path in (places.opt, places.unit, places.rules, places.command):
        assert not path.is_symlink()
        assert not path.exists()
    said = capsys.readouterr().out
    for path in (running.record, places.backups, places.etc):
        assert path.exists()
        assert str(path) in said
    assert (places.backups / "kept").exists()
    uninstall(site, None)
    assert running.calls == []
    assert "there is nothing to remove" in capsys.readouterr().out


def test_it_asks_once(running: Tank) -> None:
    site = running.site(running.folder / "clone-1", yes=False)
    with pytest.raises(InstallError, match="nobody to ask"):
        uninstall(site, None)
    with pytest.raises(InstallError, match="nothing was changed"):
        uninstall(site, lambda _: False)
    assert running.calls == []
    uninstall(site, lambda _: True)
    assert not running.places.opt.exists()


def test_what_a_person_has_put_beside_it_stays(running: Tank) -> None:
    (running.places.opt / "notes").touch()
    uninstall(running.site(running.folder / "clone-1"), None)
    assert [path.name for path in running.places.opt.iterdir()] == ["notes"]


def test_a_service_that_does_not_stop_keeps_its_program(running: Tank) -> None:
    running.on("stop", "false")
    with pytest.raises(InstallError, match="systemctl disable --now tankhand failed"):
        uninstall(running.site(running.folder / "clone-1"), None)
    assert running.places.current.exists()
    assert running.places.unit.exists()


def test_below_a_folder_it_takes_the_same_and_calls_nothing(running: Tank) -> None:
    root = running.places.root
    assert main(["uninstall", "--yes", "--root", str(root)]) == 0
    assert running.calls == []
    assert not running.places.opt.exists()
    assert running.places.settings.is_file()
    assert running.record.is_file()
