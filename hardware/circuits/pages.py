"""What stands in the documents and follows from the data: parts lists, pin map, figures.

A block begins with `<!-- made: NAME -->` and ends with `<!-- made so far -->`; what is between them
is replaced.
"""

import re
import textwrap
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import groupby
from pathlib import Path

from hardware.circuits.heartbeat import Figures, figures, nominal
from hardware.circuits.netlist import LEVELS, SHEETS, Part, read_level, read_sheet
from hardware.circuits.pin_map import BOX, box_settings, shown, uses

HARDWARE = Path(__file__).parent.parent
DRAWINGS = HARDWARE / "drawings"

_BLOCK = re.compile(r"(<!-- made: ([\w -]+) -->\n).*?(<!-- made so far -->)", re.DOTALL)


def drawings() -> dict[Path, str]:
    """The text of every drawing, by its file."""
    from hardware.circuits.drawing import svg

    pins = shown(box_settings())
    return {DRAWINGS / f"{name}.svg": svg(read_sheet(name), pins) for name in SHEETS}


def documents() -> dict[Path, str]:
    """The text of every document that has blocks, with these as they should be."""
    blocks = {name: make() for name, make in BLOCKS.items()}
    found = {}
    for path in sorted(HARDWARE.glob("*.md")):
        text = path.read_text(encoding="utf-8")
        if _BLOCK.search(text):
            found[path] = _BLOCK.sub(
                lambda block: f"{block[1]}{blocks[block[2]]}\n{block[3]}", text
            )
    return found


def _table(titles: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = [titles, tuple("---" for _ in titles), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def parts_list(level: int) -> str:
    """The devices of a level that the level before does not have."""
    before = {part.device for part in read_level(level - 1).parts} if level > 1 else set()
    parts = sorted(
        (part for part in read_level(level).parts if part.device not in before),
        key=lambda part: _natural(part.device),
    )
    rows = [_row(mark, list(members)) for mark, members in groupby(parts, lambda part: part.device)]
    merged: dict[tuple[str, ...], list[str]] = {}
    for mark, *rest in rows:
        merged.setdefault(tuple(rest), []).append(mark)
    return _table(
        ("mark", "what", "value", "what matters"),
        [(", ".join(marks), *rest) for rest, marks in merged.items()],
    )


def _row(mark: str, members: list[Part]) -> tuple[str, ...]:
    def first(key: str) -> str:
        return next((getattr(each, key) for each in members if getattr(each, key)), "")

    members.sort(key=lambda part: not part.needs)
    alike = len(members) > 1 and len({(each.kind, each.value) for each in members}) == 1
    value = f"{len(members)} × {first('value')}" if alike and first("value") else first("value")
    # A comma in a box's name is where the drawing begins a new line.
    what = first("what").replace(", ", " ") if members[0].kind == "box" else first("what")
    return mark, what, value or "–", first("needs") or "–"


def _natural(mark: str) -> tuple[str, int]:
    letters = mark.rstrip("0123456789")
    return letters, int(mark[len(letters) :] or 0)


def pin_table() -> str:
    """The pins in use, by their place on the plug."""
    rows = [
        (
            f"GPIO{use.pin}", str(use.plug), use.what, "out" if use.drives else "in", use.at_boot,
            str(use.level),
        )
        for use in sorted(uses(box_settings()), key=lambda use: use.plug)
    ]  # fmt: skip
    return _table(
        ("pin", "place on the plug", "what", "direction", "pulled at power-on", "from level"), rows
    )


def boot_lines() -> str:
    """The lines of config.txt that follow from the pins."""
    settings = box_settings()
    low = sorted(use.pin for use in uses(settings) if use.drives and use.level == 3)
    wire = next(use.pin for use in uses(settings) if use.role == "1-wire")
    lines = (
        "dtparam=i2c_arm=on,i2c_arm_baudrate=100000",
        "dtoverlay=tank-ina226",
        f"dtoverlay=w1-gpio,gpiopin={wire}",
        "dtparam=watchdog=on",
        f"gpio={','.join(map(str, low))}=op,dl",
    )
    return "\n".join(("```", *lines, "```"))


def box_table() -> str:
    """The settings of the box, as a block."""
    return f"```toml\n{BOX.read_text(encoding='utf-8')}```"


def heartbeat_table() -> str:
    """What the circuit does, over all corners."""
    found, middle = figures(), nominal()
    rows = [
        ("from the last edge to open contacts", *_ms(found.drop_out_s)),
        ("from the first edge to closed contacts", *_ms(found.pick_up_s)),
        ("widest spacing of edges that closes it", *_ms(found.slowest_s)),
        ("times that the line has to fall until it closes", *_plain(found, "pulses")),
        ("threshold over what falling once brings", *_plain(found, "single")),
        ("what is left over the threshold after a pause of 200 ms", *_plain(found, "pause")),
        ("ripple at C2, edges 50 ms apart", *(f"{100 * each:.0f} %" for each in found.ripple)),
        ("current that the pin drives", *(f"{1000 * each:.1f} mA" for each in found.light_a)),
        ("what U1 takes over what R3 gives", *_plain(found, "collector")),
        ("at C2, the line at rest", *(f"{each:.2f} V" for each in found.rest_v)),
        ("at C2, edges 50 ms apart", *(f"{each:.1f} V" for each in found.slow_v)),
        ("at C2, edges 20 ms apart", *(f"{each:.1f} V" for each in found.fast_v)),
    ]
    said = (
        f"With the values as printed, at {middle.supply_v:g} V: closes above "
        f"{middle.threshold_on_v:.2f} V at C2, opens below {middle.threshold_off_v:.2f} V; each "
        f"fall leads {100 * middle.share:.0f} % of the way to {middle.swing_v:.1f} V; time "
        f"constant {1000 * middle.high_s:.0f} ms with the line high, {1000 * middle.low_s:.0f} ms "
        "with it low."
    )
    return _table(("figure", "least", "most"), rows) + "\n\n" + _folded(said)


def _ms(span: tuple[float, float]) -> tuple[str, str]:
    return f"{1000 * span[0]:.0f} ms", f"{1000 * span[1]:.0f} ms"


def _plain(found: Figures, key: str) -> tuple[str, str]:
    least, most = getattr(found, key)
    return f"{least:.3g}", f"{most:.3g}"


def _folded(text: str, width: int = 110) -> str:
    return "\n".join(textwrap.wrap(text, width, break_on_hyphens=False))


BLOCKS: Mapping[str, Callable[[], str]] = {
    **{f"parts {level}": partial(parts_list, level) for level in LEVELS},
    "pins": pin_table,
    "boot": boot_lines,
    "settings": box_table,
    "heartbeat": heartbeat_table,
}
