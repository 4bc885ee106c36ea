"""The page as a Flask app, put together from its parts."""

import secrets
from pathlib import Path

from flask import Flask

from daemon.access.tokens import Tokens, tokens_at
from daemon.api.languages import Language
from daemon.api.listen import Listen
from daemon.api.plans.kept import plans_at
from daemon.api.sentence import duration
from daemon.api.trade_units import UnitSystem
from web.alarms.effects import EffectsPage
from web.alarms.history import HistoryPages
from web.alarms.presses import AlarmPages
from web.api.routes import Api
from web.assets import Assets
from web.bath.account import AccountPages
from web.bath.analyses import AnalysisPages
from web.bath.asked import AskedPages
from web.bath.enter import EnterPages
from web.bath.makeup import MakeUpPages
from web.bath.page import BathPage
from web.checks.calibration import CalibrationPage
from web.checks.proof import ProofPage
from web.checks.settings import SettingsPage
from web.gate.access import Access, Reading
from web.gate.audit import AuditPage
from web.gate.bearers import Bearers
from web.gate.protection import protect
from web.gate.sign_in import SignInPages
from web.home_screen import HomeScreen
from web.language import speak
from web.now.interruption import InterruptionPresses
from web.now.pages import Pages
from web.parts.meshes import Meshes
from web.parts.pages import PartPages
from web.plans.pages import PlanPages
from web.plans.rehearse import RehearsePages
from web.plans.shelf import Shelf
from web.plans.start import StartPages
from web.record import Runs
from web.runs.compare import ComparePage
from web.runs.cost import CostPage
from web.runs.downloads import DownloadPages
from web.runs.listed import RunListPage
from web.runs.report import RunReportPage
from web.runs.weigh import WeighPages
from web.tank import Tank
from web.trouble import handle_troubles
from web.units import measure
from web.units_choice import route_choice


def create_app(
    socket: Path,
    record: Path,
    listen: Listen,
    reading: Reading = "anyone",
    language: Language = "en",
    units: UnitSystem = "metric",
) -> Flask:
    """Build the page for the daemon at `socket` and the record at `record`.

    `reading` says who may look: anyone, or operators only; `language`, in which texts;
    `units`, in which figures are shown to browsers that have chosen none.

    Nothing is asked or opened before the first request, so the page starts while the daemon and
    the record are not there yet.
    """
    app = Flask(__name__, static_folder=None)
    app.config.update(SECRET_KEY=secrets.token_bytes(32), TRUSTED_HOSTS=listen.trusted_hosts)
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    speak(app, language)
    measure(app, units)
    assets = Assets()
    app.jinja_env.globals["asset"] = assets.address
    app.jinja_env.filters["duration"] = duration
    tank, runs = Tank(socket), Runs(record)
    access = Access(record, listen, reading, Bearers(Tokens(tokens_at(record)), tank))
    access.route(app)
    limiter = protect(app, access.guard)
    handle_troubles(app)
    SignInPages(tank, access).route(app)
    route_choice(app)
    HomeScreen(assets).route(app)
    Pages(tank, runs, assets).route(app, limiter)
    InterruptionPresses(tank).route(app, limiter)
    AlarmPages(tank).route(app)
    HistoryPages(tank, runs).route(app)
    EffectsPage(tank).route(app)
    SettingsPage(tank).route(app)
    AuditPage(runs).route(app)
    BathPage(tank, runs).route(app, limiter)
    MakeUpPages(tank, runs).route(app, limiter)
    AnalysisPages(tank, runs).route(app, limiter)
    AskedPages(tank, runs).route(app)
    AccountPages(tank, runs).route(app, limiter)
    EnterPages(tank, runs).route(app, limiter)
    CostPage(tank, runs).route(app)
    PartPages(tank, runs, Meshes()).route(app, limiter)
    WeighPages(tank, runs).route(app, limiter)
    ProofPage(tank, runs).route(app, limiter)
    RunListPage(tank, runs).route(app)
    RunReportPage(tank, runs).route(app)
    DownloadPages(runs).route(app)
    ComparePage(runs).route(app)
    shelf = Shelf(plans_at(record), tank, runs)
    PlanPages(tank, runs, shelf).route(app, limiter)
    StartPages(tank, runs, shelf).route(app, limiter)
    RehearsePages(tank, runs, shelf).route(app, limiter)
    CalibrationPage(socket, tank, runs).route(app, limiter)
    Api(tank, runs, plans_at(record), access).route(app, limiter)
    return app
