"""Where current can flow in a netlist: which coils pull, and what is parted from what.

Two ways of looking. `energised` follows what carries a coil's current, and lets relays move until
nothing changes. `reached` follows everything that could conduct at all, so that what it does not
reach has no path, whatever the values are. A ground ends both: what flows there does not come back.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from hardware.circuits.netlist import Netlist, Part

CONTROL_PLUS, CONTROL_ZERO = "24 V raw", "0 V"


@dataclass(frozen=True)
class Moment:
    """How the world has its hands on the circuit.

    pressed: devices whose switches are not as drawn: heads, buttons, floats. up: relays that are
    pulled in. moving: whether the heartbeat's line moves. opened: parts that conduct no more, such
    as a fuse that has blown; bridged: parts that have failed closed.
    """

    pressed: Collection[str] = ()
    up: Collection[str] = ()
    moving: bool = False
    opened: Collection[str] = ()
    bridged: Collection[str] = ()


def _is_closed(part: Part, moment: Moment) -> bool:
    moved = part.device in moment.pressed or part.device in moment.up
    return moved if part.kind == "make" else not moved


def _ways(part: Part, moment: Moment, *, carrying: bool) -> Iterator[tuple[str, str]]:
    """From which net to which a part lets current through."""
    nets = part.net_of
    if part.id in moment.opened or part.kind == "box":
        return
    if part.kind == "p-transistor":
        if moment.moving or part.id in moment.bridged:
            yield nets["s"], nets["d"]
    elif part.kind in ("diode", "zener"):
        yield nets["a"], nets["k"]
        if part.kind == "zener" or part.id in moment.bridged:
            yield nets["k"], nets["a"]
    elif part.kind in ("make", "break"):
        if _is_closed(part, moment) or part.id in moment.bridged:
            yield from ((nets["1"], nets["2"]), (nets["2"], nets["1"]))
    elif part.kind in ("fuse", "link", "shunt"):
        yield from ((nets["1"], nets["2"]), (nets["2"], nets["1"]))
    elif not carrying:
        yield from _weak_ways(part)


def _weak_ways(part: Part) -> Iterator[tuple[str, str]]:
    """What lets some current through, though none that pulls a coil. Capacitors let none."""
    nets = part.net_of
    if part.kind in ("resistor", "coil", "lamp"):
        yield from ((nets["1"], nets["2"]), (nets["2"], nets["1"]))
    elif part.kind == "optocoupler":
        yield from ((nets["a"], nets["k"]), (nets["c"], nets["e"]))
    elif part.kind == "solid-state relay":
        yield from ((nets["a"], nets["k"]), (nets["1"], nets["2"]), (nets["2"], nets["1"]))
    elif part.kind == "comparator":
        yield from ((nets["vp"], nets["vn"]), (nets["out"], nets["vn"]))


def reached(
    netlist: Netlist,
    source: str,
    moment: Moment,
    *,
    carrying: bool = False,
    end: str = CONTROL_ZERO,
) -> set[str]:
    """The nets that current from `source` can come to. `end` is reached and not left."""
    found, new = set[str](), {source}
    while new:
        found |= new
        new = {
            onward
            for part in netlist.parts
            for origin, onward in _ways(part, moment, carrying=carrying)
            if origin in found and origin != end
        } - found
    return found


def energised(netlist: Netlist, moment: Moment) -> frozenset[str]:
    """The devices whose coils are pulled in once every relay has moved."""
    up = frozenset(moment.up)
    while True:
        nets = reached(netlist, CONTROL_PLUS, replace(moment, up=up), carrying=True)
        pulled = frozenset(
            part.device
            for part in netlist.parts
            if part.kind == "coil" and part.net_of["1"] in nets and part.net_of["2"] == CONTROL_ZERO
        )
        if pulled == up:
            return up
        up = pulled


def islands(netlist: Netlist) -> list[set[str]]:
    """Groups of nets that anything conducting joins, capacitors too, every contact closed."""
    groups: list[set[str]] = [{net} for part in netlist.parts for net in part.net_of.values()]
    for part in netlist.parts:
        for joined in _joined(part):
            touched = [group for group in groups if group & joined]
            groups = [group for group in groups if not group & joined]
            groups.append(set().union(joined, *touched))
    return groups


def _joined(part: Part) -> Iterator[set[str]]:
    nets = part.net_of
    if part.kind == "box":
        return
    if part.kind == "optocoupler":
        yield from ({nets["a"], nets["k"]}, {nets["c"], nets["e"]})
    elif part.kind == "solid-state relay":
        yield from ({nets["a"], nets["k"]}, {nets["1"], nets["2"]})
    else:
        yield set(nets.values())
