"""Logs as loggers write them: what is found out, what is asked for, what is refused."""

import gzip
import io
import zlib

import pytest

from daemon.api.calibration.log_columns import Told
from daemon.api.calibration.log_file import Content, UnansweredError, open_log, read_head
from daemon.api.errors import InputError

TOLD = Told(
    time_column="Time",
    current_column="Current",
    time_unit="s",
    current_unit="A",
    current_is="sample",
)
PLAIN = [(0.0, 1.5, ""), (1.0, 2.5, ""), (2.5, -3.0, "")]


def opened(data, told=TOLD, delimiter=None):
    content = Content(io.BufferedReader(io.BytesIO(data)))
    return open_log(read_head(content, "log.csv", delimiter), told), content


def told(**more):
    return Told(**{**{n: getattr(TOLD, n) for n in Told.__dataclass_fields__}, **more})


def read(text, asked=TOLD, delimiter=None):
    data = text if isinstance(text, bytes) else text.encode()
    log, _ = opened(data, asked, delimiter)
    return list(log.readings())


@pytest.mark.parametrize(
    "text",
    [
        "Time,Current\n0,1.5\n1,2.5\n2.5,-3\n",
        "Time;Current\r\n0;1,5\r\n1;2,5\r\n2,5;-3\r\n",
        "Time;Current\n0;1.5\n1;2.5\n2.5;-3",
        "Time\tCurrent\n0\t1.5\n1\t2.5\n2.5\t-3\n",
        "Time|Current\n0|1.5\n1|2.5\n2.5|-3\n",
        "Time   Current\n0.0     1.5\n1.0     2.5\n2.5    -3.0\n",
        "\ufeffTime,Current\n0,1.5\n1,2.5\n2.5,-3\n",
        '"Time","Current"\n"0","1.5"\n"1","2.5"\n"2.5","-3"\n',
        'Time,Note,Current\n0,"a, b",1.5\n1,"say ""on""",2.5\n2.5,"two\nlines",-3\n',
        "\n\nTime,Current\n\n0,1.5\n,\n1,2.5\n\n2.5,-3\n\n",
        " time , CURRENT \n0,1.5\n1,2.5\n2.5,-3\n",
        "Logger 7\nNight shift, tank 2, painted\nTime,Current\n0,1.5\n1,2.5\n2.5,-3\n",
        "Time,Current,Temp °C\n0,1.5,20\n1,2.5,20\n2.5,-3,20\n".encode("latin-1"),
        "Time;Current\n0;1,5\n1;2,5\n2,5;-3\n".encode("utf-16"),
        "Time,Current\r0,1.5\r1,2.5\r2.5,-3\r",
        "Time,Current\n0,1.50e0\n1, 2.5\n2.5E+0,-3\n",
    ],
)
def test_the_same_log_written_in_many_ways(text):
    assert read(text) == PLAIN


def test_packed_by_gzip():
    text = b"Time,Current\n0,1.5\n1,2.5\n2.5,-3\n"
    log, content = opened(gzip.compress(text))
    assert list(log.readings()) == PLAIN
    plain_log, plain = opened(text)
    list(plain_log.readings())
    assert content.sha256() == plain.sha256()


def test_without_a_header_columns_have_numbers():
    numbered = told(time_column="1", current_column="3")
    assert read("0,x,1.5\n1,x,2.5\n2.5,x,-3\n", numbered) == PLAIN
    with pytest.raises(InputError) as error:
        read("0,x,1.5\n1,x,2.5\n")
    assert str(error.value) == (
        'log.csv: --time-column: no column "Time"; the columns are without names: 1 to 3'
    )
    # Two numbers that stand in a row do not make it a header.
    assert read("1,2\n2,3\n", told(time_column="1", current_column="2"))[0] == (1.0, 2.0, "")


def test_columns_may_be_numbered_where_they_have_names_too():
    assert read("T,I\n0,1.5\n1,2.5\n2.5,-3\n", told(time_column="1", current_column="2")) == PLAIN


def test_a_name_that_stands_twice_needs_its_number():
    text = "Time,Current,Current\n0,9,1.5\n1,9,2.5\n2.5,9,-3\n"
    with pytest.raises(InputError, match='"Current" is the name of columns 2 and 3'):
        read(text)
    assert read(text, told(current_column="3")) == PLAIN


def test_columns_are_asked_for_by_their_names():
    with pytest.raises(UnansweredError) as error:
        read("t,I (mA),U\n0,1,2\n1,1,2\n", Told())
    assert [question.field for question in error.value.questions] == [
        "time_column", "current_column", "current_is",
    ]  # fmt: skip
    assert str(error.value).splitlines() == [
        "log.csv: --time-column is not given: which column holds the time? "
        'the columns are "t", "I (mA)", "U"',
        "log.csv: --current-column is not given: which column holds the current? "
        'the columns are "t", "I (mA)", "U"',
        "log.csv: --current-is is not given: is the logged current a sample (its value at the "
        "time of the row) or a mean (over the interval since the row before)?",
    ]


def test_units_are_asked_for():
    with pytest.raises(UnansweredError) as error:
        read("Time,Current\n0,1\n1,1\n", told(time_unit=None, current_unit=None))
    assert [question.option for question in error.value.questions] == [
        "--time-unit", "--current-unit",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("time", "current", "factors"),
    [
        ("Time (min)", "Current (mA)", (60.0, 0.001)),
        ("Time [ms]", "Current [µA]", (0.001, 1e-6)),
        ("Time/h", "Current/kA", (3600.0, 1000.0)),
    ],
)
def test_a_unit_in_the_columns_name_will_do(time, current, factors):
    asked = Told(time_column=time, current_column=current, current_is="mean")
    readings = read(f"{time},{current}\n1,1\n2,3\n", asked)
    assert readings[0][:2] == pytest.approx(factors)


@pytest.mark.parametrize(
    ("time_unit", "current_unit", "reading"),
    [
        ("min", "mA", (120.0, 0.003)),
        ("h", "A", (7200.0, 3.0)),
        ("ms", "µA", (0.002, 3e-6)),
        ("d", "uA", (172800.0, 3e-6)),
    ],
)
def test_units_that_are_told(time_unit, current_unit, reading):
    asked = told(time_unit=time_unit, current_unit=current_unit)
    assert read("Time,Current\n2,3\n4,5\n", asked)[0][:2] == pytest.approx(reading)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"time_unit": "V"}, "--time-unit: expected a time"),
        ({"current_unit": "furlong"}, "--current-unit: expected a current"),
        ({"current_column": "Amps"}, 'no column "Amps"; the columns are "Time", "Current"'),
        ({"group_column": "7"}, '--group-by: no column "7"'),
    ],
)
def test_what_does_not_fit_is_refused(more, said):
    with pytest.raises(InputError, match=said) as error:
        read("Time,Current\n0,1\n1,1\n", told(**more))
    assert len(error.value.problems) == 1


def test_stamps_need_no_unit():
    text = "Time;Current\n13.01.2024 23:59:59;1,5\n14.01.2024 00:00:01;2,5\n"
    (first, second) = read(text, told(time_unit=None))
    assert second[0] - first[0] == 2.0
    with pytest.raises(InputError, match=r"--time-unit: the time of column .* is no number"):
        read(text)


def test_a_form_of_stamps_may_be_told():
    readings = read(
        "Time,Current\n20240113235959,1.5\n20240114000001,2.5\n",
        told(time_unit=None, time_format="%Y%m%d%H%M%S"),
    )
    assert readings[1][0] - readings[0][0] == 2.0


def test_an_unknown_form_of_stamps_is_shown():
    with pytest.raises(InputError, match='in no known form: "noon"; say it by --time-format'):
        read("Time,Current\nnoon,1\nlater,1\n", told(time_unit=None))


def test_the_order_of_day_and_month_is_asked_for():
    text = "Time,Current\n03/04/2024 01:00:00,1\n04/04/2024 01:00:00,1\n"
    with pytest.raises(UnansweredError, match="does the day come first"):
        read(text, told(time_unit=None))
    for day_first, seconds in ((True, 86400.0), (False, 31 * 86400.0)):
        a, b = read(text, told(time_unit=None, day_first=day_first))
        assert b[0] - a[0] == seconds
    with pytest.raises(InputError, match="is not the one told"):
        read(text.replace("03/04", "13/04"), told(time_unit=None, day_first=False))


def test_a_comma_that_may_be_thousands_is_asked_for():
    text = "Time;Current\n0;1,234\n1;2,345\n"
    with pytest.raises(UnansweredError, match=r'is the comma in "1,234", column "Current"'):
        read(text)
    assert read(text, told(decimal=","))[0][1] == 1.234
    with pytest.raises(UnansweredError):
        read("Time;Current\n0;1.234,5\n1;2.345,5\n")
    assert read("Time;Current\n0;1,234\n1;0,345\n")[0][1] == 1.234


def test_rows_that_cannot_be_read_are_counted_and_the_first_explained():
    lines = ["Time,Current", *(f"{n},1" for n in range(9)), "9,oops", "ten,1", "11", "12,nan",
             "13,1e99", "", "14,1"]  # fmt: skip
    log, _ = opened("\n".join(lines).encode())
    assert [s for s, _, _ in log.readings()] == [*range(9), 14]
    assert (log.unread.rows, log.unread.first_line) == (5, 11)
    assert log.unread.why == 'Current: a number in A expected, got "oops"'


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("ten,1", 'Time: a number in s expected, got "ten"'),
        ("11", "1 fields, too few"),
        ("12,inf", 'Current: no reading can be "inf"'),
        ("nan,1", 'Time: no reading can be "nan"'),
        ("1e99,1", 'Time: no reading can be "1e99"'),
        ('"13,1', "1 fields, too few"),
    ],
)
def test_the_reason_of_a_row_that_cannot_be_read(line, why):
    log, _ = opened(f"Time,Current\n0,1\n1,1\n2,1\n{line}".encode())
    list(log.readings())
    assert (log.unread.rows, log.unread.first_line, log.unread.why) == (1, 5, why)


def test_a_stray_quotation_mark_costs_the_lines_it_swallows_and_they_are_counted():
    rows = [f"{n},1" for n in range(50)]
    rows[10] = '10,"1'
    rows[13] = '13,1"'
    log, _ = opened("\n".join(["Time,Current", *rows]).encode())
    assert len(list(log.readings())) == 46
    assert (log.unread.rows, log.unread.first_line) == (4, 15)


def test_a_field_beyond_all_bounds_costs_its_row_only():
    rows = [
        "Time,Current",
        *(f"{n},1" for n in range(200_000)),
        "200000," + "9" * 200_000,
        "200001,1",
    ]
    log, _ = opened("\n".join(rows).encode())
    assert sum(1 for _ in log.readings()) == 200_001
    assert (log.unread.rows, log.unread.first_line) == (1, 200_002)
    assert "field larger than field limit" in log.unread.why


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"\n \n", "is empty"),
        (b"T\0i\0m\0e\0,\0C\0", "is no text"),
        (b"one\ntwo\nthree\n", "no delimiter found"),
        (b"Time,Current\n", "column 2 holds nothing"),
        (b"\x1f\x8bgarbage", "cannot be read"),
        (bytes.fromhex("1f8b08000000000000001f"), "cannot be read: .*invalid block type"),
        (gzip.compress(b"Time,Current\n0,1\n", mtime=0)[:-12], "cannot be read"),
    ],
)
def test_files_that_are_no_logs(data, said):
    with pytest.raises(InputError, match=said) as error:
        read(data)
    assert len(str(error.value).splitlines()) == 1


LONG = b"Time,Current\n" + b"".join(b"%d,%d\n" % (n, n * n % 977) for n in range(200_000))


def test_a_packed_log_that_breaks_off_is_refused_with_the_line():
    packed = zlib.compress(LONG, wbits=31)
    with pytest.raises(InputError, match=r"breaks off after line \d{5,}: "):
        read(packed[: len(packed) // 2])


def test_a_packed_log_that_is_damaged_on_the_way_is_refused_with_the_line():
    packer = zlib.compressobj(wbits=31)
    sound = packer.compress(LONG) + packer.flush(zlib.Z_FULL_FLUSH)
    # RFC 1951, 3.2.3: a last block of the type that is reserved.
    with pytest.raises(InputError, match=r"breaks off after line \d{5,}: .*invalid block type"):
        read(sound + b"\x07")


def test_a_head_can_be_used_again_after_an_answer():
    content = Content(io.BufferedReader(io.BytesIO(b"Time,Current\n0,1.5\n1,2.5\n2.5,-3\n")))
    head = read_head(content, "log.csv", None)
    with pytest.raises(UnansweredError):
        open_log(head, told(current_is=None))
    assert list(open_log(head, TOLD).readings()) == PLAIN


def test_groups_and_a_reversed_sign():
    readings = read("Time,Current,Cycle\n0,1,a\n1,-2,b\n", told(group_column="cycle", reverse=True))
    assert readings == [(0.0, -1.0, "a"), (1.0, 2.0, "b")]


def test_more_than_the_head_is_read(monkeypatch):
    monkeypatch.setattr("daemon.api.calibration.log_file.HEAD_CHARACTERS", 40)
    monkeypatch.setattr("daemon.api.calibration.log_file._BATCH_ROWS", 7)
    text = "Time,Current\n" + "".join(f"{n},{n}.5\n" for n in range(100))
    assert read(text) == [(float(n), n + 0.5, "") for n in range(100)]
