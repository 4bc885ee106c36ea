"""Drawings say what the netlist says, and what stands in the folder is what the data make."""

from pathlib import Path

import pytest

from daemon.api.errors import InputError
from hardware.circuits import __main__ as command
from hardware.circuits import netlist
from hardware.circuits.agreement import problems
from hardware.circuits.layout import LayoutError, laid_out
from hardware.circuits.netlist import LEVELS, SHEETS, Sheet, read_level, read_sheet
from hardware.circuits.pages import documents, drawings
from hardware.circuits.pin_map import box_settings, shown

ROOT = Path(__file__).parent.parent.parent

NEW = "make it anew by: python -m hardware.circuits"

TWO_RESISTORS = {
    "title": "two resistors, one after the other, and a third beside them",
    "wires": ["R1.2 - R2.1"],
    "part": [
        {"id": "R1", "kind": "resistor", "at": [0, 0], "nets": ["a", "b"]},
        {"id": "R2", "kind": "resistor", "at": [4, 0], "nets": ["b", "c"]},
        {"id": "R3", "kind": "resistor", "at": [3, 4], "turn": "down", "nets": ["d", "e"]},
    ],
}


def sheet(**changed):
    return Sheet.model_validate(TWO_RESISTORS | changed)


def moved(mark, beside=None, **changed):
    """A sheet with another `mark`, and what `beside` says of the sheet itself."""
    parts = [part | (changed if part["id"] == mark else {}) for part in TWO_RESISTORS["part"]]
    return sheet(part=parts, **(beside or {}))


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_shows_its_nets_and_nothing_else(name):
    assert problems(read_sheet(name), shown(box_settings())) == []


def test_a_plain_sheet_is_in_order():
    assert problems(sheet()) == []


@pytest.mark.parametrize(
    ("broken", "complaint"),
    [
        (sheet(wires=[]), "net 'b': R2.1 hang on nothing"),
        (moved("R3", at=[3, 2]), "a wire of 'b' touches a pin of 'e' at (3.0, 0.0)"),
        (moved("R3", at=[3, 1]), "a wire of 'b' runs through R3"),
        (moved("R2", nets=["b", "d"]), "net 'd': R3.1 hang on nothing that R2.2 hangs on"),
        (sheet(wires=["R1.2 - R2.1", "2.5,0 - R2.1"]), "wires of 'b' run on each other"),
        (sheet(notes=["words"], notes_at=[0.8, 0.6]), "labels 'R1' and 'words' overlap"),
        # The letters of R1 end at 1.24, and these begin at 1.34: too near to be read apart.
        (sheet(notes=["words"], notes_at=[1.34, 0.55]), "labels 'R1' and 'words' overlap"),
        (sheet(notes=["words"], notes_at=[2.5, 0.1]), "label 'words' lies on a wire of 'b'"),
        (
            moved(
                "R3",
                {"flags": ["R3.2 down"], "notes": ["words"], "notes_at": [3.4, 1.5]},
                nets=["d", "0 V"],
            ),
            "label 'words' lies on the sign of '0 V'",
        ),
    ],
)
def test_what_is_drawn_wrongly_is_found(broken, complaint):
    found = problems(broken)
    assert any(complaint in each for each in found), found


@pytest.mark.parametrize(
    ("wire", "complaint"),
    [
        ("R1.2 - R2.2", "joins ['b', 'c']"),
        ("R1.2 - R9.1", "no pin 'R9.1'"),
        ("R1.2 - R2.3", "no pin 'R2.3'"),
        ("R1.1 - 0,3 - 1,4", "neither level nor plumb"),
    ],
)
def test_a_wire_that_joins_two_nets_is_refused(wire, complaint):
    with pytest.raises(LayoutError) as refused:
        laid_out(sheet(wires=[wire]))
    assert complaint in str(refused.value)


@pytest.mark.parametrize(
    ("part", "complaint"),
    [
        ({"kind": "resistor", "nets": ["a"]}, "needs 2 nets"),
        ({"kind": "valve", "nets": ["a"]}, "unknown kind 'valve'"),
        ({"kind": "box", "nets": ["a"]}, "a box needs size and pins"),
    ],
)
def test_a_part_has_the_pins_of_its_kind(part, complaint):
    with pytest.raises(ValueError, match=complaint):
        sheet(part=[{"id": "R1", "at": [0, 0], **part}])


def test_a_level_says_one_thing_of_a_part(tmp_path, monkeypatch):
    for name in LEVELS[3]:
        text = (netlist.FOLDER / f"{name}.toml").read_text(encoding="utf-8")
        if name == "3-power":
            text = text.replace('what = "shunt"', 'what = "shunt"\nvalue = "1 Ω"', 1)
        if name == "3-heartbeat":
            text = text.replace('id = "C3"', 'id = "R10"', 1)
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    monkeypatch.setattr(netlist, "FOLDER", tmp_path)
    with pytest.raises(InputError, match="R10 is said otherwise elsewhere"):
        read_level(3)


def test_the_drawings_are_those_of_the_data():
    made = drawings()
    assert {path.name for path in made} == {
        path.name for path in (ROOT / "hardware" / "drawings").iterdir()
    }
    stale = [path.name for path, text in made.items() if path.read_text(encoding="utf-8") != text]
    assert stale == [], NEW


def test_the_documents_say_what_the_data_say():
    made = documents()
    assert {"level-1.md", "level-2.md", "level-3.md", "heartbeat.md", "pins.md"} <= {
        path.name for path in made
    }
    stale = [path.name for path, text in made.items() if path.read_text(encoding="utf-8") != text]
    assert stale == [], NEW


def test_every_drawing_is_shown_in_a_document():
    text = "\n".join(path.read_text("utf-8") for path in (ROOT / "hardware").glob("*.md"))
    assert [name for name in SHEETS if f"(drawings/{name}.svg)" not in text] == []


def test_the_documented_command_writes_what_differs(tmp_path, monkeypatch, capsys):
    same, other, new = (tmp_path / name for name in ("same.md", "other.md", "new.svg"))
    same.write_text("as it is", encoding="utf-8")
    other.write_text("as it was", encoding="utf-8")
    monkeypatch.setattr(command, "documents", lambda: {same: "as it is", other: "as it is now"})
    monkeypatch.setattr(command, "drawings", lambda: {new: "drawn"})
    assert command.main() == 0
    assert capsys.readouterr().out.splitlines() == [str(other), str(new)]
    assert [each.read_text("utf-8") for each in (same, other, new)] == [
        "as it is", "as it is now", "drawn",
    ]  # fmt: skip
