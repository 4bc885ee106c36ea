"""Scenario files: what they may say, and how they are refused."""

from pathlib import Path

import pytest

from drivers.errors import DescriptionError
from drivers.simulator.scenario import Scenario, load_scenario, parse_event

WHOLE = """
[bath]
volume_l = 20
copper_sulfate_g_per_l = 75
sulfuric_acid_g_per_l = 200

[[parts]]
name = "left bracket"
area_dm2 = 1.2
paint_ohm_per_sq = 0

[[parts]]
name = "right bracket"
area_dm2 = 1.3

[supply]
current_a = 10
beyond_rating = "clip"

[[events]]
do = "whisker"
at_s = 3600
lasts_s = 30

[[events]]
do = "lose_part"
part = 2
at_s = 7200
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "tank.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_whole_scenario(tmp_path: Path) -> None:
    scenario = load_scenario(written(tmp_path, WHOLE))
    assert scenario.bath.volume_l == 20
    assert [part.name for part in scenario.parts] == ["left bracket", "right bracket"]
    assert scenario.supply.beyond_rating == "clip"
    assert [(event.do, event.at_s, event.lasts_s) for event in scenario.events] == [
        ("whisker", 3600, 30),
        ("lose_part", 7200, None),
    ]


def test_an_empty_scenario_is_the_defaults(tmp_path: Path) -> None:
    assert load_scenario(written(tmp_path, "")) == Scenario()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[bath]\nvolume_l = -3\n", r"tank\.toml: bath\.volume_l: got -3.*greater than 0"),
        ("[bath]\nvolume = 3\n", r"bath\.volume: got 3.*not permitted"),
        ("[supply]\ncurrent_a = nan\n", r"supply\.current_a: got nan.*finite"),
        ("[supply]\nbeyond_rating = 'shrug'\n", r"beyond_rating: got 'shrug'.*'refuse' or 'clip'"),
        ("parts = []\n", r"parts: got \[\].*at least 1"),
        ("[[events]]\ndo = 'explode'\n", r"events\.0: got .*explode.*'short'"),
        ("[[events]]\ndo = 'lose_part'\npart = 2\n", r"part 2 does not exist, allowed 1 to 1"),
        ("[bath]\nvolume_l = -3\nambient_c = 99\n", r"and 1 more"),
        ("[bath\n", r"cannot be read as TOML"),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_place(
    tmp_path: Path, text: str, said: str
) -> None:
    with pytest.raises(DescriptionError, match=said):
        load_scenario(written(tmp_path, text))


def test_a_missing_or_binary_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DescriptionError, match=r"absent\.toml: cannot be read"):
        load_scenario(tmp_path / "absent.toml")
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(DescriptionError, match=r"binary\.toml: cannot be read"):
        load_scenario(tmp_path / "binary.toml")


@pytest.mark.parametrize("described", [{"do": "short", "ohm": 1}, {"at_s": 3}, "short", None])
def test_an_event_that_is_none_is_refused(described: object) -> None:
    with pytest.raises(DescriptionError, match="event"):
        parse_event(described)
