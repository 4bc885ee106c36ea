"""Settings: what is read, what is refused and in which words; and the first look at them."""

import math

import pytest

from daemon.api.errors import InputError
from daemon.clock import RatedClock, SystemClock
from daemon.service.devices.assembly import make_supply
from daemon.service.main import main
from daemon.service.settings.file import read_settings
from daemon.service.supervision.first_look import SupplyLine, supply_line
from drivers.contracts import Rating
from drivers.errors import DescriptionError

LEAST = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "Acid copper"
"""


@pytest.fixture
def write(tmp_path):
    def write(text=LEAST):
        path = tmp_path / "settings.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def refused(path):
    with pytest.raises(InputError) as caught:
        read_settings(path)
    assert str(path) in str(caught.value)
    return str(caught.value)


def test_the_least_that_is_needed(write, tmp_path):
    settings = read_settings(write())
    assert settings.supply.port == "/dev/ttyUSB0"
    assert settings.supply.description == "scpi99"
    assert settings.record.path == tmp_path / "record.sqlite"
    assert settings.daemon.socket == tmp_path / "control.sock"
    assert (settings.loop.period, settings.guard.beat_limit) == (0.1, 0.5)
    assert settings.rate == 1.0
    assert isinstance(settings.clock(), SystemClock)


def test_paths_are_relative_to_the_file(write, tmp_path):
    more = '[record]\npath = "data/r.sqlite"\n[daemon]\nsocket = "/run/x.sock"\n'
    text = LEAST.replace('port = "/dev/ttyUSB0"', 'port = "COM"\ndescription = "mine.toml"')
    settings = read_settings(write(text + more))
    assert settings.record.path == tmp_path / "data" / "r.sqlite"
    assert str(settings.daemon.socket) == "/run/x.sock"
    assert settings.supply.description == str(tmp_path / "mine.toml")


def test_the_settings_narrow_the_supply_and_never_widen_it(write):
    described = Rating(current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)
    text = LEAST.replace(
        "[bath]", 'greatest_current = "2000 mA"\ngreatest_voltage = "60 V"\n[bath]'
    )
    rating = read_settings(write(text)).supply.rating(described)
    assert (rating.current_a, rating.voltage_v) == (2.0, 30.0)
    assert rating.current_step_a == 0.001


def test_units_are_read(write):
    text = LEAST + '[loop]\nperiod = "200 ms"\ngap = "2 s"\nlost = "0.1 min"\n'
    loop = read_settings(write(text)).loop
    assert (loop.period, loop.gap, loop.lost) == pytest.approx((0.2, 2.0, 6.0))


def test_limits_follow_the_period_and_the_supply_s_steps(write):
    text = LEAST + '[loop]\nperiod = "1 s"\ngap = "3 s"\nlost = "9 s"\n'
    limits = read_settings(write(text)).limits(current_step_a=0.1)
    assert (limits.period_s, limits.gap_s, limits.lost_s) == (1.0, 3.0, 9.0)
    # An ammeter with steps of 0.1 A flickers by more than 20 mA.
    assert limits.gone_a == pytest.approx(0.3)
    assert limits.down_s >= 2.0
    assert limits.off_s >= 5.0


def test_a_simulation_has_a_clock_of_its_own(write):
    text = LEAST + "[simulation]\nrate = 200\norigin_s = 5.0\n"
    settings = read_settings(write(text))
    assert settings.rate == 200
    assert isinstance(settings.clock(), RatedClock)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('port = "/dev/ttyUSB0"\n', "", ["supply.port", "missing"]),
        ("[supply]", "[suply]", ["suply"]),
        ('port = "/dev/ttyUSB0"', 'port = "x"\nbaud = 9600', ["supply.baud"]),
        ("[bath]", 'greatest_current = "5 V"\n[bath]', ["supply.greatest_current", "5 V"]),
        ("[bath]", 'greatest_current = "-5 A"\n[bath]', ["supply.greatest_current", "-5 A"]),
        ('port = "/dev/ttyUSB0"', "port = 5", ["supply.port"]),
        ('name = "Acid copper"', 'name = ""', ["bath.name"]),
        ("[bath]", "[bath", ["TOML"]),
        ("[bath]", '[loop]\nperiod = "2 s"\n[bath]', ["period < gap", "2 s", "1 s"]),
        ("[bath]", '[loop]\nperiod = "0.1 V"\n[bath]', ["loop.period", "0.1 V"]),
        ("[bath]", '[guard]\nbeat_limit = "50 ms"\n[bath]', ["beat_limit", "0.2 s", "0.05 s"]),
        ("[bath]", '[page]\nlisten = "8080"\n[bath]', ["page: listen:", "'8080'", "HOST:PORT"]),
        ("[bath]", '[page]\nlisten = "0.0.0.0:8080"\n[bath]', ["page: hosts:", "every address"]),
        ("[bath]", '[page]\nreading = "all"\n[bath]', ["page.reading", "'anyone' or 'operators'"]),
        ("[bath]", '[page]\nlanguage = "xx"\n[bath]', ["page.language", "'en'", '"xx"']),
        ("[bath]", '[page]\nunits = "inch"\n[bath]', ["page.units", "'trade'", '"inch"']),
        ("[bath]", '[page]\nproxy = "*"\n[bath]', ["page: proxy:", "'*'", "IPv4 address"]),
        ("[bath]", "[simulation]\nrate = 0\norigin_s = 0\n[bath]", ["simulation.rate"]),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_told_with_key_and_value(write, old, new, words):
    assert old in LEAST
    said = refused(write(LEAST.replace(old, new)))
    for word in words:
        assert word in said


@pytest.mark.parametrize(
    ("page", "address"),
    [
        ('listen = "192.168.1.7:8080"', "192.168.1.7:8080"),
        ('listen = "0.0.0.0:80"\nhosts = ["tank.lan"]', "0.0.0.0:80"),
        ('hosts = ["tank.lan"]', "127.0.0.1:8080 with hosts or a proxy"),
        ('proxy = "127.0.0.1"', "127.0.0.1:8080 with hosts or a proxy"),
    ],
)
def test_a_page_for_others_needs_an_operator(write, page, address):
    path = write(LEAST.replace("[bath]", f"[page]\n{page}\n[bath]"))
    settings = read_settings(path)
    record = settings.record.path
    with pytest.raises(InputError) as said:
        settings.page.check_operator(path, record)
    assert str(said.value) == (
        f"{path}: page.listen: {address} is for others than this machine, and there is no operator "
        "yet: make one with `tankhand operator add NAME`, or listen on 127.0.0.1"
    )
    settings.page.model_copy(update={"on": False}).check_operator(path, record)
    operators = record.with_name(f"{record.name}.operators")
    operators.write_text('{"operators": []}')
    operators.chmod(0o600)
    with pytest.raises(InputError):
        settings.page.check_operator(path, record)
    # One that cannot be told of is no reason to leave the tank alone: the page lets nobody in.
    operators.write_text("spoiled")
    settings.page.check_operator(path, record)


def test_a_loop_without_an_operator_for_its_page_ends_before_it_opens_anything(
    write, monkeypatch, capsys
):
    monkeypatch.setattr("daemon.service.main.become_prompt", lambda: None)
    page = '[page]\nlisten = "192.168.1.7:8080"\n'
    path = write(LEAST.replace("[bath]", f"{page}[bath]"))
    assert main(["--settings", str(path)]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"tankhand: {path}: page.listen: 192.168.1.7:8080 is for others")
    assert said.count("\n") == 1
    assert not read_settings(path).record.path.exists()


def test_the_page_is_told_of_its_table(write):
    page = '[page]\nhosts = ["a.lan", "192.168.1.7"]\nreading = "operators"\nproxy = "10.0.0.2"\n'
    options = read_settings(write(LEAST.replace("[bath]", f"{page}[bath]"))).page.options()
    assert options == [
        "--reading", "operators", "--language", "en", "--units", "metric",
        "--host", "a.lan", "--host", "192.168.1.7", "--proxy", "10.0.0.2",
    ]  # fmt: skip
    path = write(LEAST)
    settings = read_settings(path)
    settings.page.check_operator(path, settings.record.path)
    assert settings.page.options() == [
        "--reading", "anyone", "--language", "en", "--units", "metric",
    ]  # fmt: skip


def test_a_missing_file_is_told(tmp_path):
    assert "cannot be read: No such file" in refused(tmp_path / "none.toml")


def test_a_folder_is_no_file(tmp_path):
    assert "cannot be read" in refused(tmp_path)


def test_bytes_that_are_no_text_are_told(write):
    assert "UTF-8" in refused(write(b"\xff\xfe[supply]"))


# Pins.

PINS = """\
[contactor]
heartbeat_pin = 17
auxiliary_pin = 27
[[interlock]]
name = "emergency stop"
pin = 22
stop = "abort"
[[interlock]]
name = "lid"
pin = 23
stop = "hold"
debounce = "0.2 s"
"""


def test_the_pins_of_the_settings(write):
    settings = read_settings(write(LEAST + PINS))
    assert (settings.contactor.heartbeat_pin, settings.contactor.auxiliary_pin) == (17, 27)
    limits = settings.limits(current_step_a=0.001)
    assert (limits.pull_in_s, limits.drop_out_s) == (2.0, 1.0)
    loops = [
        (each.name, limits.table.row("interlock: " + each.name).stop.value, each.pin, each.debounce)
        for each in settings.interlock
    ]
    assert loops == [
        ("emergency stop", "abort", 22, 0.05),
        ("lid", "hold", 23, 0.2),
    ]


SIGNALS = """\
[beacon]
pin = 20
[siren]
pin = 5
active_level = "low"
[acknowledge_button]
pin = 26
[effects."part lost"]
stop = "abort"
after = "10 s"
siren = true
"""


def test_signals_and_what_causes_bring_about(write):
    settings = read_settings(write(LEAST + PINS + SIGNALS))
    assert (settings.beacon.pin, settings.beacon.active_high) == (20, True)
    assert (settings.siren.pin, settings.siren.active_high) == (5, False)
    assert settings.acknowledge_button.pin == 26
    table = settings.limits(current_step_a=0.001).table
    row = table.row("part lost")
    assert (row.stop.value, row.after_s, row.beacon, row.siren) == ("abort", 10.0, True, True)
    row = table.row("interlock: lid")
    assert (row.stop.value, row.beacon, row.siren, row.tell) == ("hold", True, False, False)
    assert table.row("short").siren


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("pin = 20", "pin = 5", ["beacon: GPIO5 is pulled up from power-on", "16, 17, 20"]),
        ("pin = 20", "pin = 22", ["GPIO22 is given twice", "'emergency stop'", "beacon.pin"]),
        ("pin = 26", "pin = 17", ["contactor.heartbeat_pin", "acknowledge_button.pin"]),
        ('active_level = "low"', 'active_level = "off"', ["siren.active_level", "'high' or 'low'"]),
        (
            '[siren]\npin = 5\nactive_level = "low"\n',
            "",
            ['effects."part lost".siren = true: there is no [siren] in these settings'],
        ),
        ("siren = true", "tell = true", ['effects."part lost".tell', "there is no [[tell]]"]),
        ("siren = true", 'siren = "on"', ['effects."part lost".siren', '"on"']),
        (
            'effects."part lost"',
            'effects."part los"',
            ["no such cause", "did you mean 'part lost'"],
        ),
        ('"10 s"', "10", ['effects."part lost".after', "10"]),
    ],
)
def test_signals_and_effects_that_cannot_be_had_are_told(write, old, new, words):
    assert old in SIGNALS
    said = refused(write(LEAST + PINS + SIGNALS.replace(old, new, 1)))
    for word in words:
        assert word in said


def test_without_a_contactor_nothing_waits_for_one(write):
    settings = read_settings(write())
    assert (settings.contactor, settings.interlock) == (None, ())
    assert settings.limits(current_step_a=0.001).pull_in_s == 0.0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "heartbeat_pin = 17",
            "heartbeat_pin = 4",
            ["contactor.heartbeat_pin", "GPIO4", "pulled up", "16, 17, 20"],
        ),
        (
            "heartbeat_pin = 17",
            "heartbeat_pin = 14",
            ["contactor.heartbeat_pin", "GPIO14", "console"],
        ),
        ("heartbeat_pin = 17", "heartbeat_pin = 40", ["GPIO40", "not on the header"]),
        ("heartbeat_pin = 17", 'heartbeat_pin = "17"', ["contactor.heartbeat_pin", '"17"']),
        ("heartbeat_pin = 17\n", "", ["contactor.heartbeat_pin", "missing", "such as 17"]),
        (
            "auxiliary_pin = 27",
            "auxiliary_pin = 3",
            ["contactor.auxiliary_pin", "GPIO3", "9 to 27"],
        ),
        (
            "auxiliary_pin = 27",
            "auxiliary_pin = 17",
            ["GPIO17 is given twice", "contactor.auxiliary_pin"],
        ),
        ("auxiliary_pin = 27", 'drop_out = "0.1 s"', ["drop_out", "0.25 s", "0.1 s"]),
        ("auxiliary_pin = 27", 'pull_in = "0 s"', ["contactor.pull_in", "above 0"]),
        (
            "pin = 22",
            "pin = 17",
            ["GPIO17 is given twice", "contactor.heartbeat_pin", "emergency stop"],
        ),
        ("pin = 22", "pin = 27", ["GPIO27 is given twice", "contactor.auxiliary_pin"]),
        ("pin = 22", "pin = 23", ["GPIO23 is given twice", "'emergency stop'", "'lid'"]),
        ("pin = 22", "pin = 2", ["interlock[1].pin", "GPIO2", "broken wire would read closed"]),
        ('"lid"', '"emergency stop"', ["names of interlocks must differ", "'emergency stop'"]),
        (
            'stop = "abort"',
            'stop = "reset"',
            ["interlock[1].stop", '"reset"', "'hold', 'stop', 'abort' or 'nothing'"],
        ),
        ('debounce = "0.2 s"', 'debounce = "-1 s"', ["interlock[2].debounce", "-1 s"]),
    ],
)
def test_pins_that_cannot_be_wired_like_that_are_told(write, old, new, words):
    assert old in PINS
    said = refused(write(LEAST + PINS.replace(old, new, 1)))
    for word in words:
        assert word in said


# Devices.


def test_the_supply_of_the_settings(write):
    settings = read_settings(write(LEAST.replace("[bath]", 'greatest_current = "2 A"\n[bath]')))
    supply, rating = make_supply(settings, SystemClock())
    assert supply.identity == ""
    assert rating.current_a == 2.0
    assert 0 < rating.voltage_v < math.inf


def test_a_description_that_is_not_there_is_told(write):
    text = LEAST.replace('port = "/dev/ttyUSB0"', 'port = "x"\ndescription = "unheard-of"')
    with pytest.raises(DescriptionError, match="unheard-of"):
        make_supply(read_settings(write(text)), SystemClock())


# The first look: the few settings that "output off" needs.


def test_the_first_look_sees_what_the_settings_say(write, tmp_path):
    text = LEAST.replace('port = "/dev/ttyUSB0"', 'port = "COM"\ndescription = "mine.toml"')
    path = write(text)
    full = read_settings(path).supply
    assert supply_line(path) == SupplyLine(full.port, full.description)
    assert supply_line(write()) == SupplyLine("/dev/ttyUSB0", "scpi99")


def test_the_first_look_is_content_with_what_is_wrong_elsewhere(write):
    text = LEAST.replace("[bath]", "[bat]") + '[loop]\nperiod = "3 V"\n'
    assert supply_line(write(text)) == SupplyLine("/dev/ttyUSB0", "scpi99")


@pytest.mark.parametrize(
    "text",
    ["", "nonsense", "supply = 5", "[supply]\nport = 5", "[supply]\n", 'supply = "x"',
     "[supply]\nport = 'x'\ndescription = 3", b"\xff\xfe"],
)  # fmt: skip
def test_the_first_look_never_raises(write, text):
    assert supply_line(write(text)) is None


def test_the_first_look_at_no_file(tmp_path):
    assert supply_line(tmp_path / "none.toml") is None
