"""`[page]` in the settings: where the page listens, and who may look."""

from pathlib import Path
from typing import Literal

from pydantic import Field, model_validator

from daemon.access.operators import Operators, operators_at
from daemon.api.errors import InputError
from daemon.api.languages import Language
from daemon.api.listen import Listen, ListenError, parse_listen
from daemon.api.trade_units import UnitSystem
from daemon.service.settings.table import Table


class PageTable(Table):
    """The page; `on = false` serves none.

    reading says who may look: anyone who reaches the page, or operators only. hosts and proxy are
    those of `daemon.api.listen.Listen`. language is that of its texts, and units are those of its
    figures until somebody at a browser chooses others there.
    """

    on: bool = Field(default=True, description="whether there is a page")
    listen: str = Field(
        default="127.0.0.1:8080", description="address and port", examples=['"127.0.0.1:8080"']
    )
    reading: Literal["anyone", "operators"] = Field(default="anyone", description="who may look")
    hosts: tuple[str, ...] = Field(
        default=(), description="further names by which browsers may ask for it"
    )
    proxy: str | None = Field(default=None, description="the proxy that hands TLS on to it")
    language: Language = Field(default="en", description="of its texts")
    units: UnitSystem = Field(
        default="metric", description="until somebody chooses others at a browser"
    )

    @model_validator(mode="after")
    def _listens_somewhere(self) -> "PageTable":
        try:
            self.where()
        except ListenError as error:
            raise ValueError(str(error)) from error
        return self

    def where(self) -> Listen:
        """Where it listens. Raises `ListenError`."""
        return parse_listen(self.listen, self.hosts, self.proxy)

    def options(self) -> list[str]:
        """What the page's own command line is told of it besides `--listen`."""
        hosts = [option for name in self.hosts for option in ("--host", name)]
        proxy = [] if self.proxy is None else ["--proxy", self.proxy]
        shown = ["--language", self.language, "--units", self.units]
        return ["--reading", self.reading, *shown, *hosts, *proxy]

    def check_operator(self, settings: Path, record: Path) -> None:
        """See that there is an operator where the page is for others than this machine.

        Raises InputError, about the file `settings`. Where it cannot be told whether there is one,
        nobody can sign in, and the page says so: that is no reason to leave the tank alone.
        """
        if not self.on:
            return
        try:
            self.where().check_operator(Operators(operators_at(record)).all)
        except ListenError as error:
            raise InputError(str(settings), (f"page.{error}",)) from error
