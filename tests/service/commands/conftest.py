"""The daemon's side of the socket for what is entered of a bath: its server over a real record."""

from contextlib import ExitStack
from dataclasses import fields

import pytest

from daemon.api.socket.messages import Status
from daemon.chemistry.uncertainty import NO_DOUBT
from daemon.clock import SystemClock
from daemon.control.panel import Correction, MeterFacts, Panel
from daemon.service.keeping.bath import BathKeeper, book_by
from daemon.service.keeping.parts import PartKeeper
from daemon.service.settings.file import read_settings
from daemon.service.socket.server import ControlServer, Desk
from drivers.contracts import Rating

STATUS = Status(
    state="idle", utc="2026-11-25T00:00:00+00:00", monotonic_s=1.0, rate=1.0, current_a=0.0,
    voltage_v=0.0, reading_age_s=0.1, mode=None, output_on=False, supply="A,B,1,2", run=None,
    bath="bath A", bath_charge_ah=0.0,
)  # fmt: skip
PANEL = Panel({"supply": MeterFacts(Correction(), NO_DOUBT)}, "supply", fresh_s=1.0)
RATING = Rating(current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)


def _unused(*_):
    raise AssertionError


_NOTHING = {each.name: _unused for each in fields(Desk)}


@pytest.fixture
def serve_access():
    """Serve what has changed of who may what, for a settings file; gives what was asked to keep."""
    with ExitStack() as stack:

        def serve(settings):
            kept = []
            desk = Desk(**_NOTHING | {"access": kept.append})
            socket = read_settings(settings).daemon.socket
            server = ControlServer(
                socket, lambda: STATUS, _unused, RATING, PANEL, desk, _unused, (), _unused
            )
            server.start()
            stack.callback(server.stop)
            return kept

        yield serve


@pytest.fixture
def serve_bath():
    """Serve the bath of a settings file, whose record `writer` writes; gives its keeper.

    Of all that can be asked of a desk only an entry of the bath and a part are kept.
    """
    with ExitStack() as stack:

        def serve(settings, writer):
            told = read_settings(settings)
            bath, clock = told.bath.description(), SystemClock()
            keeper = BathKeeper(bath, writer, clock, book_by(told.record.path, bath, clock, stack))
            keeper.describe()
            keep = PartKeeper(writer, clock).keep
            desk = Desk(**_NOTHING | {"enter": keeper.enter, "keep_part": keep})
            server = ControlServer(
                told.daemon.socket,
                lambda: STATUS,
                _unused,
                RATING,
                PANEL,
                desk,
                _unused,
                (),
                _unused,
            )
            server.start()
            stack.callback(server.stop)
            return keeper

        yield serve
