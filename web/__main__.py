"""The page's own process: `python -m web --socket PATH --record PATH --listen HOST:PORT`.

It holds nothing that could be lost, so it is ended by a plain SIGTERM.
"""

import os
import signal
import threading
from pathlib import Path
from typing import get_args

import click
from waitress.server import create_server

from daemon.api.languages import SOURCE, Language
from daemon.api.listen import ListenError, parse_listen
from daemon.api.trade_units import UnitSystem
from daemon.units import parse
from web.app import create_app
from web.gate.access import ACCESS, Access, Reading
from web.server import BODY_LIMIT_BYTES, believing, bound_bodies, share_connections

SERVER = {
    "threads": 4,
    # Browsers keep two or three connections each; a crowd beyond that waits its turn.
    "connection_limit": 200,
    "channel_timeout": 30,
    "max_request_header_size": 16_384,
    "max_request_body_size": BODY_LIMIT_BYTES,
    "ident": None,
}


@click.command()
@click.option("--socket", type=click.Path(path_type=Path), required=True, help="Control socket.")
@click.option("--record", type=click.Path(path_type=Path), required=True, help="Record file.")
@click.option("--listen", default="127.0.0.1:8080", show_default=True, help="HOST:PORT.")
@click.option("--reading", type=click.Choice(["anyone", "operators"]), default="anyone")
@click.option("--language", type=click.Choice(get_args(Language)), default=SOURCE)
@click.option("--units", type=click.Choice(get_args(UnitSystem)), default="metric")
@click.option("--host", "hosts", multiple=True, help="By what else browsers call the page.")
@click.option("--proxy", help="A reverse proxy that is believed.")
@click.option("--lifeline", type=int, help="A pipe whose end means that the guard has died.")
def main(
    socket: Path,
    record: Path,
    listen: str,
    reading: Reading,
    language: Language,
    units: UnitSystem,
    hosts: tuple[str, ...],
    proxy: str | None,
    lifeline: int | None,
) -> None:
    """Serve tankhand's page for the daemon at SOCKET, reading RECORD."""
    if lifeline is not None:
        _end_with(lifeline)
    try:
        where = parse_listen(listen, hosts, proxy)
        app = create_app(socket, record, where, reading, language, units)
        access: Access = app.extensions[ACCESS]
        where.check_operator(access.operators.all)
        bound_bodies(access.may_upload)
        share_connections(where.proxy)
        bounds = SERVER | believing(where.proxy)
        server = create_server(app, host=where.host, port=where.port, **bounds)
    except ListenError as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"listen: {listen}: {error.strerror or error}") from error
    # What reads a run's plan takes a second to load: before somebody first looks, not while.
    threading.Thread(target=parse, args=("1 A", "A"), name="units", daemon=True).start()
    if lifeline is None:  # nobody else tells where the page is
        click.echo(f"page: http://{where.host}:{where.port}")
    server.run()


def _end_with(lifeline: int) -> None:
    """End this process when the one that holds the pipe's other end has died."""

    def wait() -> None:
        while os.read(lifeline, 1):
            pass
        os.kill(os.getpid(), signal.SIGTERM)

    threading.Thread(target=wait, name="lifeline", daemon=True).start()


if __name__ == "__main__":
    main()
