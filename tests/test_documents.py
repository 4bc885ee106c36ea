"""What the documents show is true: files are accepted, commands exist, links lead on."""

import re
import tomllib
from pathlib import Path
from typing import Any, get_args

import pytest
from click import Command, Group, Option
from pydantic import BaseModel

from daemon.api.bath.table import BathTable
from daemon.api.making.mixed import MixedFile, read_mixed
from daemon.api.making.recipe import RecipeFile, read_recipe
from daemon.api.plans.file import read_plan
from daemon.control.feasibility import problems
from daemon.service.commands.cli import main
from daemon.service.devices.assembly import make_meters, make_supply
from daemon.service.settings.file import Settings, read_settings
from drivers.contracts import Rating
from drivers.scpi.description import load_description

ROOT = Path(__file__).parent.parent
DOCUMENTS = sorted(
    path
    for pattern in (
        "*.md",
        "hardware/**/*.md",
        "daemon/**/*.md",
        "drivers/**/*.md",
        "tests/**/*.md",
        "web/**/*.md",
    )
    for path in ROOT.glob(pattern)
)
FENCED = re.compile(r"^ *```(\w*)\n(.*?)^ *```$", re.MULTILINE | re.DOTALL)
LINK = re.compile(r"\]\(([^)\s]+)\)")


def _blocks(language: str) -> list[tuple[Path, str]]:
    return [
        (document, text)
        for document in DOCUMENTS
        for found, text in FENCED.findall(document.read_text(encoding="utf-8"))
        if found == language
    ]


def _tables_with(key: str) -> list[str]:
    return [text for _, text in _blocks("toml") if key in tomllib.loads(text)]


SETTINGS = [
    text
    for _, text in _blocks("toml")
    if tomllib.loads(text).keys() <= Settings.model_fields.keys()
]
REQUIRED = {"supply": '[supply]\nport = "/dev/ttyUSB0"\n', "bath": '[bath]\nname = "Bath"\n'}


def test_every_toml_shown_is_of_a_kind_that_is_tested_here() -> None:
    shown = [text for _, text in _blocks("toml")]
    kinds = ("stage", "container", "poured")
    assert set(shown) == {*SETTINGS, *(text for key in kinds for text in _tables_with(key))}
    assert SETTINGS
    assert _tables_with("stage")


@pytest.mark.parametrize("text", SETTINGS)
def test_settings_shown_are_accepted(text: str, tmp_path: Path) -> None:
    missing = [table for name, table in REQUIRED.items() if name not in tomllib.loads(text)]
    path = tmp_path / "settings.toml"
    path.write_text("".join(missing) + text, encoding="utf-8")
    settings = read_settings(path)
    written = tomllib.loads(text).get("record", {}).get("path", "record.sqlite")
    assert settings.record.path == tmp_path / written
    _, rating = make_supply(settings, settings.clock())
    make_meters(settings, settings.clock(), rating)


def test_every_setting_is_shown() -> None:
    shown: dict[str, dict[str, Any]] = {}
    for text in SETTINGS:
        for name, table in tomllib.loads(text).items():
            for one in table if isinstance(table, list) else [table]:
                shown.setdefault(name, {}).update(one)
    for name, field in Settings.model_fields.items():
        # A simulated tank's time line is written by the demo, not by people.
        if name == "simulation":
            continue
        types = (*get_args(field.annotation), field.annotation)
        model = next((one for one in types if hasattr(one, "model_fields")), None)
        if model is None:  # thresholds, of which two stand for all: `tankhand thresholds` has them
            assert shown[name]
            continue
        keys = (
            {key for row in shown[name].values() for key in row}
            if name == "effects"
            else (set(shown[name]))
        )
        assert keys == model.model_fields.keys()


def test_everything_that_a_bath_may_have_is_shown() -> None:
    tables = [tomllib.loads(text)["bath"] for text in SETTINGS if "bath" in tomllib.loads(text)]
    # Of a table that is shown several times the first that has it counts: the whole one.
    merged = {key: value for table in reversed(tables) for key, value in table.items()}
    for name, field in BathTable.model_fields.items():
        types = (field.annotation, *get_args(field.annotation))
        model = next((one for one in types if hasattr(one, "model_fields")), None)
        shown = merged[name]
        if model is None:
            continue
        # By name of a component, a list, or one table.
        within = shown.values() if name == "window" else shown if name == "additive" else [shown]
        assert {key for each in within for key in each} == model.model_fields.keys(), name


@pytest.mark.parametrize("text", [text for text in SETTINGS if "# marked" in text])
def test_settings_shown_hold_without_being_written(text: str) -> None:
    """But for the lines marked as examples, and what has to be given."""
    tables = tomllib.loads("\n".join(x for x in text.splitlines() if "# marked" not in x))
    needed = {"supply": ["port"], "bath": ["name"]}
    required = {name: {key: tables[name][key] for key in keys} for name, keys in needed.items()}
    assert Settings.model_validate(tables) == Settings.model_validate(required)


@pytest.mark.parametrize("text", _tables_with("stage"))
def test_plans_shown_work_on_the_supply_that_is_described(text: str) -> None:
    rating = load_description("scpi99").supply_rating()
    assert isinstance(rating, Rating)
    assert problems(read_plan(text, "document"), rating) == []


@pytest.mark.parametrize("text", _tables_with("container"))
def test_recipes_shown_are_accepted(text: str) -> None:
    assert read_recipe(text, "document").amounts().water_g


@pytest.mark.parametrize("text", _tables_with("poured"))
def test_mixtures_shown_are_accepted(text: str) -> None:
    assert read_mixed(text, "document").found().volume_l


def _keys(model: type[BaseModel]) -> set[str]:
    """Every key of a file and of the tables in it."""
    found = set()
    for name, field in model.model_fields.items():
        found.add(name)
        for one in (field.annotation, *get_args(field.annotation)):
            if isinstance(one, type) and issubclass(one, BaseModel):
                found |= _keys(one)
    return found


@pytest.mark.parametrize(("key", "model"), [("container", RecipeFile), ("poured", MixedFile)])
def test_every_key_of_a_recipe_is_shown(key: str, model: type[BaseModel]) -> None:
    shown = "\n".join(_tables_with("container") if key == "poured" else [])
    shown += "\n".join(_tables_with(key))
    assert {name for name in _keys(model) if not re.search(rf"\b{name}\b", shown)} == set()


def _written(pattern: str) -> list[tuple[str, str]]:
    """What follows a command's name in code of the documents: a word, and the rest of its line."""
    found = []
    for document in DOCUMENTS:
        text = document.read_text(encoding="utf-8")
        code = [body for _, body in FENCED.findall(text)]
        code += re.findall(r"`([^`\n]+)`", FENCED.sub("", text))
        found += [match for piece in code for match in re.findall(pattern, piece)]
    return found


def _options(command: Command) -> set[str]:
    """The options of a command, and of those within it."""
    options = [p for p in command.params if isinstance(p, Option)]
    own = {"--help", *(name for o in options for name in (*o.opts, *o.secondary_opts))}
    within = command.commands.values() if isinstance(command, Group) else ()
    return own.union(*map(_options, within))


def test_every_command_that_is_named_exists() -> None:
    assert isinstance(main, Group)
    named = _written(r"\btankhand ([a-z-]+)([^\n#]*)")
    assert {word for word, _ in named} == main.commands.keys()
    for name, group in main.commands.items():
        if isinstance(group, Group):
            within = _written(rf"\btankhand {name} ([a-z][a-z-]*)()")
            assert {word for word, _ in within} == group.commands.keys()
    for word, rest in named:
        assert set(re.findall(r"--[a-z-]+", rest)) <= _options(main.commands[word]), (word, rest)


def test_every_option_in_the_table_of_commands_exists() -> None:
    known = (
        set().union(*map(_options, main.commands.values())) if isinstance(main, Group) else set()
    )
    table = (ROOT / "daemon" / "commands.md").read_text("utf-8")
    rows = re.findall(r"^\| `tankhand .*$", table, re.MULTILINE)
    shown = {option for row in rows for option in re.findall(r"--[a-z-]+", row)}
    assert shown
    assert shown <= known


def test_readme_is_read_in_one_sitting() -> None:
    """What is looked up stands elsewhere: decision "README leads through the first night"."""
    assert len((ROOT / "README.md").read_text(encoding="utf-8").splitlines()) <= 250


def test_every_word_of_go_that_is_named_exists() -> None:
    script = (ROOT / "go").read_text(encoding="utf-8")
    words = set(re.findall(r"^([a-z]+)\)$", script, re.MULTILINE))
    assert {word for word, _ in _written(r"\./go ([a-z]+)()")} == words


def test_every_file_named_in_a_command_exists() -> None:
    paths = re.findall(
        r"(?:python|pytest|go test|-m|bash) ((?:tests|\.ci)/[\w./]+)",
        "\n".join(document.read_text(encoding="utf-8") for document in DOCUMENTS),
    )
    assert [path for path in paths if not (ROOT / path).exists()] == []


def _anchors(document: Path) -> set[str]:
    """The names that headings get: lower case, spaces made hyphens, other signs left out."""
    text = FENCED.sub("", document.read_text(encoding="utf-8"))
    headings = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_within_the_project_lead_somewhere(document: Path) -> None:
    text = FENCED.sub("", document.read_text(encoding="utf-8"))
    for link in LINK.findall(text):
        if "://" in link:
            continue
        name, _, anchor = link.partition("#")
        target = (document.parent / name).resolve() if name else document
        assert target.exists(), link
        assert not anchor or anchor in _anchors(target), link
