"""`tankhand makeup`, `mixed` and `top-up` as a person uses them: what they print and refuse."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from daemon.record import bath_entries
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.commands.cli import main

SETTINGS = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "bath A"
[[bath.additive]]
name = "brightener"
rate = "150 mL/kAh"
"""
EXAMPLE = Path("daemon/service/examples/acid_copper.toml")
TEN_LITRES = ("--volume", "10 L", "--copper-sulfate", "200 g/L", "--acid", "60 g/L")
MIXED = ("--copper-sulfate", "3.3 lb", "--acid", "42.4 fl oz", "--water", "3.68 gal")


@pytest.fixture
def recipe(tmp_path):
    path = tmp_path / "bath.toml"
    path.write_text(
        'volume = "10 L"\n[target]\ncopper_sulfate = "200 g/L"\nsulfuric_acid = "60 g/L"\n'
        '[acid]\nstrength = "96 %"\n',
        encoding="utf-8",
    )
    return path


def call(*words):
    """Exit code, stdout and stderr by lines."""
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout.splitlines(), result.stderr.splitlines()


def printed(*words):
    code, lines, errors = call(*words)
    assert (code, errors) == (0, [])
    return lines


def refused(*words):
    code, lines, errors = call(*words)
    assert (code, lines) == (2, [])
    return errors


def columns(lines, name):
    """The figures of what is weighed or poured, by its name."""
    (line,) = [line for line in lines if line.startswith(f"  {name}")]
    return line


def test_a_make_up_from_options():
    lines = printed("makeup", *TEN_LITRES, "--acid-strength", "96 %", "--chloride", "60 ppm")
    # Computed apart: 2000 g; 340.5 mL; 0.989 g (0.3 %).
    assert columns(lines, "copper sulfate, CuSO4·5H2O").split()[-4:] == ["2000", "g", "4.41", "lb"]
    assert "340.5 mL  11.5 fl oz" in columns(lines, "sulfuric acid, 96 wt %")
    assert "0.9891 g" in columns(lines, "sodium chloride")
    assert all(len(line) <= 96 for line in lines)


def test_the_same_in_trade_units():
    metric = printed("makeup", *TEN_LITRES, "--acid-strength", "96 %")
    trade = printed("makeup", "--volume", "2.64172052 gal", "--copper-sulfate", "26.7053 oz/gal",
                    "--acid", "8.01159 oz/gal", "--acid-strength", "96 %")  # fmt: skip
    assert trade == metric


def test_a_make_up_from_a_file_and_for_another_volume(recipe):
    ten, one = printed("makeup", recipe), printed("makeup", recipe, "--volume", "1 L")
    assert "2000 g" in columns(ten, "copper sulfate, CuSO4")
    assert "200 g" in columns(one, "copper sulfate, CuSO4")


def test_every_option_of_a_make_up_is_heard():
    lines = printed(
        "makeup", *TEN_LITRES, "--acid-strength", "battery acid", "--hydrate", "CuSO4", "--purity",
        "98 %", "--container", "20 qt", "--storage", "5 °C",
    )  # fmt: skip
    assert "1.268 L" in columns(lines, "sulfuric acid, 37.05 wt %")
    assert "1305 g" in columns(lines, "copper sulfate, CuSO4, 98 %")  # 1278.5 g / 0.98
    text = " ".join(lines)
    assert "takes 15.14 L (4 gal)" in text  # 16 quarts
    assert "At 5 °C crystals may drop" in text


def test_what_was_mixed():
    lines = printed("mixed", *MIXED, "--acid-strength", "SG 1.280", "--volume", "4 gal")
    text = " ".join(" ".join(lines).split())
    assert "98.86 g/L is below the 195 to 248 g/L of a standard acid copper bath" in text
    assert "4 % less than the 13.93 L (3.68 gal) poured" in text
    half = printed("mixed", *MIXED, "--acid-strength", "SG 1.280", "--volume", "4 gal",
                   "--for", "2 gal")  # fmt: skip
    assert "the same for 7.571 L (2 gal)" in half
    assert "21.2 fl oz" in columns(half, "sulfuric acid")


def test_what_was_mixed_from_a_file(tmp_path):
    path = tmp_path / "was.toml"
    path.write_text('volume = "10 L"\n[poured]\ncopper_sulfate = "2 kg"\n', encoding="utf-8")
    assert "copper sulfate  200 g/L" in "\n".join(printed("mixed", path))


def test_topping_up(recipe):
    lines = printed("top-up", recipe, "--volume", "9 L", "--copper-sulfate", "180 g/L", "--acid",
                    "55 g/L")  # fmt: skip
    assert "380 g" in columns(lines, "copper sulfate")
    assert "59.59 mL" in columns(lines, "sulfuric acid")
    less = printed("top-up", recipe, "--volume", "9 L", "--copper", "45.81 g/L", "--acid", "55 g/L",
                   "--to", "9.5 L")  # fmt: skip
    assert "280 g" in columns(less, "copper sulfate")


def test_no_line_ends_between_a_figure_and_its_unit():
    lines = printed("makeup", EXAMPLE)
    first = {line.split()[0] for line in lines if line.strip()}
    assert not first & {"L", "g", "mL", "gal)", "°C", "°C,", "%", "%,"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("makeup",), "--volume is missing: volume of the bath, such as \"10 L\""),
        (("makeup", *TEN_LITRES), "--acid-strength is missing: how strong the sulfuric acid is"),
        (("makeup", *TEN_LITRES, "--acid-strength", "120 %"),
         "--acid-strength: sulfuric acid must be above 0 and at most 100 wt %, got 120 wt %"),
        (("makeup", *TEN_LITRES, "--acid-strength", "SG 0.9"),
         "--acid-strength: specific gravity of sulfuric acid must be above 1"),
        (("makeup", "--volume", "-1 L", "--copper-sulfate", "200 g/L"),
         "--volume: must be above 0 L, got -1 L"),
        (("makeup", "--volume", "10 L", "--copper-sulfate", "200 mL"),
         '--copper-sulfate: expected a mass concentration such as "200 g/L", got "200 mL"'),
        (("makeup", "--volume", "10 L", "--copper-sulfate", "200 g/L", "--hydrate", "NaCl"),
         "--hydrate: 'NaCl' has no copper in it"),
        (("makeup", "--volume", "10 L", "--copper-sulfate", "200 g/L", "--container", "11 L"),
         "--volume: must be at most 8.8 L, which the container takes"),
        (("makeup", "none.toml"), "none.toml: cannot be read: No such file or directory"),
        (("makeup", EXAMPLE, "--acid", "60 g/L", "--purity", "98 %"),
         "--acid, --purity: goes with no RECIPE.toml, which tells it; only --volume does"),
        (("makeup", EXAMPLE, "--volume", "12 L"), "--volume: must be at most 11.2 L"),
        (("makeup", EXAMPLE, "--volume", "12"), '--volume: expected a volume such as "15 L"'),
        (("mixed",), "poured: needs what was weighed and poured"),
        (("mixed", *MIXED), "--acid-strength is missing: how strong the sulfuric acid was"),
        (("mixed", "--copper-sulfate", "2 L"), '--copper-sulfate: expected a mass such as "25 g"'),
        (("mixed", EXAMPLE, "--water", "1 L"), "--water: goes with no RECIPE.toml, which tells it"),
        (("mixed", "--copper-sulfate", "1 kg", "--water", "5 L", "--for", "5 kg"),
         '--for: expected a volume such as "15 L", got "5 kg"'),
        (("mixed", "--copper-sulfate", "1 kg", "--water", "5 L", "--for", "0 L"),
         "--for: must be above 0 L, got 0 L"),
        (("top-up", EXAMPLE), "--volume is missing: how much of it there is"),
        (("top-up", EXAMPLE, "--volume", "9 L", "--acid", "x"), "--acid: expected a mass conc"),
        (("top-up", EXAMPLE, "--volume", "9 L", "--to", "90 L"), "--to: must be at most 11.2 L"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_one_clear_error(words, said):
    (line,) = refused(*words)
    assert line.startswith(f"tankhand: {said}")


def test_a_file_with_an_unknown_key(recipe):
    recipe.write_text(recipe.read_text(encoding="utf-8") + "colour = 1\n", encoding="utf-8")
    (line,) = refused("makeup", recipe)
    assert line == f"tankhand: {recipe}: acid.colour is an unknown key; " \
        "allowed: strength, density, price"  # fmt: skip


def test_a_file_that_is_no_recipe(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xff\xfe")
    assert "is not UTF-8 text" in refused("makeup", path)[0]
    path.write_text("#" * 50_001)
    assert refused("makeup", path) == [
        f"tankhand: {path}: 50001 characters, a recipe has at most 50000"
    ]


def test_a_bath_that_no_topping_up_brings_there(recipe):
    recipe.write_text('volume = "10 L"\n[target]\ncopper_sulfate = "200 g/L"\n', encoding="utf-8")
    assert refused("top-up", recipe, "--volume", "9 L", "--acid", "60 g/L") == [
        f"tankhand: {recipe}: the bath has 60 g/L of sulfuric acid, and its target is not told"
    ]


@pytest.fixture
def kept(tmp_path, monkeypatch, serve_bath):
    """What a daemon beside the command has kept, without how the bath is described."""
    path, record = tmp_path / "settings.toml", tmp_path / "record.sqlite"
    path.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("TANKHAND_SETTINGS", str(path))
    writer = Writer(record, threaded=False)
    serve_bath(path, writer)

    def entries():
        engine = open_reader(record)
        with engine.connect() as connection:
            found = bath_entries.all_of(connection, "bath A")
        engine.dispose()
        return [entry.made for entry in found if entry.made.kind != "description"]

    yield entries
    writer.close()


def test_what_was_made_up_is_kept(kept, recipe):
    recipe.write_text(
        recipe.read_text(encoding="utf-8") + '[[additive]]\nname = "brightener"\n'
        'make_up = "5 mL/L"\n',
        encoding="utf-8",
    )
    lines = printed("makeup", recipe, "--volume", "8 L", "--keep", "--at", "2026-01-02 18:00",
                    "--note", "after the move")  # fmt: skip
    assert "entry 2" in lines
    (made,) = kept()
    # 8 L of 200 g/L pentahydrate: 1600 g * 63.546 / 249.685 of copper; 8 * 60 g; 8 * 5 mL.
    assert made.amounts == pytest.approx(
        {"volume": 8.0, "copper": 407.21, "sulfuric acid": 480.0, "brightener": 40.0}, rel=1e-4
    )
    assert (made.kind, made.note) == ("make-up", "after the move")
    assert made.facts["details"]["volume"] == "8 L"
    assert made.facts["details"]["target"]["sulfuric_acid"] == "60 g/L"
    assert "make-up: brightener 40 mL, copper 407.2" in "\n".join(printed("bath", "ledger"))


def test_what_was_mixed_is_kept_as_what_is_in_it(kept):
    printed("mixed", "--copper-sulfate", "2 kg", "--volume", "10 L", "--keep")
    (made,) = kept()
    assert made.amounts == pytest.approx({"volume": 10.0, "copper": 509.01}, rel=1e-4)


THERE = ("--volume", "9 L", "--copper-sulfate", "180 g/L", "--acid", "55 g/L")


def test_a_topping_up_is_kept_as_one_entry(kept, recipe):
    lines = printed("top-up", recipe, *THERE, "--keep", "--at", "2026-01-02 18:00")
    assert "entry 2" in lines
    (made,) = kept()
    # 10 * 200 - 9 * 180 g of crystals, 63.546 / 249.685 of them copper; 10 * 60 - 9 * 55 g of acid.
    assert made.amounts == pytest.approx(
        {"volume": 1.0, "copper": 96.712, "sulfuric acid": 105.0}, rel=1e-4
    )
    assert made.kind == "top-up"
    assert made.facts["level_l"] == 10.0
    assert "taken_out_l" not in made.facts
    assert made.facts["details"]["present"]["copper_sulfate"] == "180 g/L"
    said = "\n".join(printed("bath", "ledger"))
    assert "top-up: copper 96.7118 g, sulfuric acid 105 g, then 10 L" in said
    printed("bath", "withdraw", "2")
    assert "top-up: withdrawn" in "\n".join(printed("bath", "ledger"))


def test_what_was_taken_out_is_in_the_same_entry(kept, recipe):
    """10 L of 250 g/L to 10 L of 200: a fifth has to go, and 60 g of acid for each L of it come."""
    there = ("--volume", "10 L", "--copper-sulfate", "250 g/L", "--acid", "60 g/L")
    printed("top-up", recipe, *there, "--keep")
    (made,) = kept()
    assert made.facts["taken_out_l"] == pytest.approx(2.0)
    assert made.amounts == pytest.approx({"sulfuric acid": 120.0})
    said = "\n".join(printed("bath", "ledger"))
    assert "top-up: sulfuric acid 120 g, then 10 L, after 2 L was taken out" in said


def test_a_bath_that_is_as_it_shall_be_is_not_topped_up(kept, recipe):
    there = ("--volume", "10 L", "--copper-sulfate", "200 g/L", "--acid", "60 g/L")
    code, _, errors = call("top-up", recipe, *there, "--keep")
    assert (code, kept()) == (2, [])
    assert "nothing is wanted: the bath is as it shall be" in errors[0]


def test_nothing_is_kept_unless_it_is_asked_for(kept, recipe):
    printed("makeup", recipe)
    assert kept() == []
    assert (
        "--at: says when what is kept was made"
        in refused("makeup", recipe, "--at", "2026-01-02")[0]
    )
    assert "--for: is another bath" in refused(
        "mixed", "--copper-sulfate", "2 kg", "--volume", "10 L", "--for", "5 L", "--keep"
    )[0]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('[[additive]]\nname = "carrier"\nmake_up = "5 mL/L"', "'carrier' is no additive"),
        ('[[component]]\nname = "brightener"\ncontent = "1 g/L"', "'brightener' is an additive"),
    ],
)  # fmt: skip
def test_what_the_account_cannot_count_is_not_kept(kept, recipe, table, said):
    recipe.write_text(f"{recipe.read_text(encoding='utf-8')}\n{table}\n", encoding="utf-8")
    code, _, errors = call("makeup", recipe, "--keep")
    assert (code, kept()) == (2, [])
    assert said in errors[0]


def test_without_a_daemon_it_is_shown_and_not_kept(recipe, tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    code, lines, errors = call("makeup", recipe, "--keep", "--settings", path)
    assert code == 1
    assert "weigh and pour" in lines
    assert "only the daemon writes: nothing was entered" in errors[0]
