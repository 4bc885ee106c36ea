"""The page's texts can be put into other languages: catalogues, marks, and what has none."""

import ast
import re
import shutil
import string
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, get_args

import pytest
from babel import Locale
from babel.messages.mofile import write_mo
from catalogue import TEMPLATE, template, written
from flask import Flask, render_template_string
from jinja2 import nodes
from markupsafe import Markup
from plan_pictures import PLAN
from planning import Planner
from screenshots import BATH_PAGES, PAGES, STATES

from daemon.api.languages import SOURCE, Language
from daemon.api.listen import Listen
from web.app import create_app
from web.language import CATALOGUES, speak

TEMPLATES = CATALOGUES.parent / "templates"


def test_the_catalogues_template_has_every_marked_text():
    assert TEMPLATE.read_text("utf-8") == written(template()), (
        "python tests/web/catalogue.py writes it anew"
    )


def test_each_language_that_the_settings_know_has_its_catalogue():
    kept = {path.name for path in CATALOGUES.iterdir() if path.is_dir()}
    assert kept == set(get_args(Language)) - {SOURCE}


def test_a_language_without_a_catalogue_is_refused(tmp_path: Path):
    with pytest.raises(FileNotFoundError):
        speak(Flask("page"), "xx", tmp_path)


def test_values_are_escaped_in_texts_and_the_texts_are_not(tmp_path: Path):
    app = Flask("page")
    speak(app)
    with app.app_context():
        said = render_template_string(
            "{{ _('<b>%(name)s</b>, 95 %%', name=name) }}"
            "{% trans name %}<i>{{ name }}</i>, 95 %{% endtrans %}",
            name="<script>",
        )
    assert said == "<b>&lt;script&gt;</b>, 95 %<i>&lt;script&gt;</i>, 95 %"


class _Bare(HTMLParser):
    """The texts of a template that stand in its HTML as they are."""

    SPOKEN = ("aria-label", "title", "alt", "placeholder")

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._code = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._code = tag == "code"
        for key, value in attrs:
            if key in self.SPOKEN or (key.startswith("data-") and " " in (value or "")):
                self.found.append(value or "")

    def handle_endtag(self, _: str) -> None:
        self._code = False

    def handle_data(self, data: str) -> None:
        # What fills a place of the frame's tags comes after the frame, without its tag.
        if not self._code and not re.search('[a-z-]+="|^(attention|calm)$', data.strip()):
            self.found.append(data)


SAME_EVERYWHERE = re.compile(
    r"tankhand|Ah\b|mL\b|µm\b|box 60 x 40 x 20 mm|sphere 30 mm, hemisphere 30 mm|4 x rod 3 x 120 mm"
    r"|cone 30 x 50 mm, frustum 30 x 20 x 50 mm|0.5 % \+ 3 mA|STL|CSV|Parquet"
)
"""The name, units, and what is typed as it stands here, in every language."""

KEPT = (
    "under way",
    "not reached",
    "Ah",
    "Description",
    "nothing passed",
    "it went on all the time",
)
"""Names of states, a unit, how an entry of the record begins, and notes that go into the record."""

ASKED_OF = (nodes.Compare, nodes.Getitem, nodes.Filter, nodes.Test, nodes.Keyword)
"""Where a text is compared with, or is the name of something."""


def _words(text: str) -> bool:
    return re.search("[A-Za-z]{2}", SAME_EVERYWHERE.sub("", text)) is not None


def _spoken(node: nodes.Node) -> Iterator[str]:
    """Texts in a template's expressions that are shown as they are."""
    if isinstance(node, nodes.Const) and isinstance(node.value, str):
        if node.value not in KEPT and re.search("^[A-Z][a-z]|[a-z] [a-z]", node.value):
            yield node.value
        return
    is_call = isinstance(node, nodes.Call) and isinstance(node.node, nodes.Name)
    if is_call and node.node.name in ("_", "gettext", "ngettext", "url_for", "asset"):
        return
    if not isinstance(node, ASKED_OF):
        for child in node.iter_child_nodes():
            yield from _spoken(child)


@pytest.mark.parametrize("path", sorted(TEMPLATES.glob("*.html")), ids=lambda path: path.name)
def test_every_text_of_a_template_is_marked(path: Path):
    app = Flask("page")
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    speak(app)
    tree = app.jinja_env.parse(path.read_text("utf-8"))
    bare = _Bare()
    bare.feed("".join(_html(tree)))
    assert [text.strip() for text in bare.found if _words(text)] == []
    assert list(_spoken(tree)) == []


def _html(node: nodes.Node) -> Iterator[str]:
    """A template's own HTML, with nothing where its expressions are."""
    if isinstance(node, nodes.TemplateData):
        yield node.data
    for child in node.iter_child_nodes():
        yield from _html(child)


HOLDS_TEXTS = {"Field", "Group", "Entry", "Method", "Asked", "Way", "marked", "_", "ngettext"}
"""What marks the texts among its arguments."""

NO_TEXT = {"TypeVar", "compile", "add_url_rule", "option", "startswith", "removeprefix"}

NOT_SHOWN = re.compile(
    "tankhand|Cache-Control|Content-|Retry-After|Vary|Accept-|private, max-age|^Strict$|the page|"
    "^Form$|^Ah$|^Wh$|^Bath$|^Current|^Voltage|^Thickness|^run |sign (in|out)|mL/kAh|mg/L| x |"
    "A/dm|CuSO4|copper sulfate|carbon treatment|sodium chloride|hydrochloric acid|sulfuric acid|"
    "boric acid|silver nitrate|high throw|mm, or its own|not said|lamp foot|all of it|given up|"
    "run.s number|per minute|Cu.II."
)
"""Of the record, of protocols, values that are typed, and names in the daemon's messages."""

PLAIN = {
    "__init__.py",
    "__main__.py",
    "assets.py",
    "gate/access.py",
    "gate/bearers.py",
    "gate/protection.py",
    "gate/rights.py",
    "language.py",
    "presses.py",
    "problems.py",
    "server.py",
    "tank.py",
}
"""Modules that show people no texts of their own."""


def _modules() -> list[Path]:
    """The page's modules that show texts; what programs are told, in `api`, stays in English."""
    web = CATALOGUES.parent
    told = (path.relative_to(web).as_posix() for path in web.rglob("*.py"))
    return [
        web / name
        for name in sorted(told)
        if name not in PLAIN and not name.startswith("api/") and "/__init__" not in name
    ]


@pytest.mark.parametrize("path", _modules(), ids=str)
def test_every_text_of_a_module_is_marked(path: Path):
    tree = ast.parse(path.read_text("utf-8"))
    assert [text for text in _unmarked(tree) if not NOT_SHOWN.search(text)] == []


def _unmarked(node: ast.AST) -> Iterator[str]:
    """Sentences and words in a module that nothing marks; what documents it is none."""
    if isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else ast.unparse(node.func)
        if name in HOLDS_TEXTS | NO_TEXT:
            node = ast.Tuple([a for a in (*node.args, *node.keywords) if not _is_text(a)])
    if isinstance(node, ast.Compare) or (isinstance(node, ast.Expr) and _is_text(node.value)):
        return
    if isinstance(node, ast.Dict):
        node = ast.Tuple(list(node.values))
    if _is_text(node):
        parts = node.values if isinstance(node, ast.JoinedStr) else [node]
        text = "".join(p.value if isinstance(p, ast.Constant) else "{}" for p in parts)
        if re.search("[a-z]{2} [a-z]{2}|^[A-Z][a-z]+|[a-z]{3} \\{", text):
            yield text
        return
    for child in ast.iter_child_nodes(node):
        yield from _unmarked(child)


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str)
    )


WIDE = {ord(letter): ord(letter) + 0xFEE0 for letter in string.ascii_letters}
KEEP = re.compile(r"%\(\w+\)[sd]|<code>.*?</code>|<[^>]*>|&\w+;|[^%<&]+|.", re.DOTALL)


def _wide(text: str) -> str:
    """A text in letters that nothing else has, its values in brackets, its tags as they were."""
    parts = [part if part[0] in "%<&" else part.translate(WIDE) for part in KEEP.findall(text)]
    return "".join(f"\u2045{part}\u2046" if part.startswith("%(") else part for part in parts)


@pytest.fixture(scope="module")
def wide(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with catalogues of a language that is English in wide letters."""
    folder = tmp_path_factory.mktemp("locale")
    catalogue = template()
    catalogue.locale = Locale("en")
    for message in catalogue:
        if isinstance(message.id, tuple):
            message.string = tuple(_wide(each) for each in message.id)
        elif message.id:
            message.string = _wide(message.id)
    (folder / "en-x-wide" / "LC_MESSAGES").mkdir(parents=True)
    with (folder / "en-x-wide" / "LC_MESSAGES" / "tankhand.mo").open("wb") as file:
        write_mo(file, catalogue)
    return folder


@pytest.fixture
def speaking(peer: Any, wide: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Make a client of a page in that language; what comes from elsewhere stands in brackets."""
    monkeypatch.setattr("web.tank.KEEP_S", -1.0)
    monkeypatch.setattr("web.tank.KEEP_SILENCE_S", -1.0)

    def make(record: Path, socket: Path = peer.path) -> Any:
        app = create_app(socket, record, Listen("127.0.0.1", 8080))
        app.jinja_env.finalize = lambda v: v if isinstance(v, Markup) else f"\u2045{v}\u2046"
        speak(app, "en-x-wide", wide)
        return app.test_client()

    return make


def _untranslated(html: str) -> list[str]:
    """What a reader of the page sees, or hears, that is neither translated nor from elsewhere."""
    bare = _Bare()
    bare.feed(re.sub("\u2045.*?\u2046", "", html.split("<body", 1)[1], flags=re.DOTALL))
    return [text.strip() for text in bare.found if _words(text)]


def test_the_first_page_is_translated_in_every_state(speaking, peer, record):
    client = speaking(record)
    for name, status in STATES.items():
        if status is None:
            peer.stop()
        else:
            peer.status = status
        shown = client.get("/")
        assert shown.status_code == (503 if status is None else 200)
        assert '<html lang="\u2045en-x-wide\u2046">' in shown.text
        assert _untranslated(shown.text) == [], name
        assert _wide("Software is no safety function.") in shown.text


def test_every_other_page_is_translated(speaking, alarm_record, described):
    for record, pages in ((alarm_record, PAGES), (described, BATH_PAGES)):
        client = speaking(record)
        for name, address in pages.items():
            shown = client.get(address)
            assert shown.status_code != 500
            assert _untranslated(shown.text) == [], name


@pytest.fixture
def planner(record: Path, tmp_path: Path) -> Iterator[Planner]:
    """One that checks plans: one that works, one for another supply, one that cannot be read."""
    copy = Path(shutil.copy(record, tmp_path / "record.db"))
    planner = Planner(tmp_path / "planner.sock", copy)
    planner.folder.mkdir()
    for name, old, new in (
        ("good", "", ""),
        ("strong", '"1.2 A/dm²"', '"12 A/dm²"'),
        ("typed", "\ntarget =", "\ntargt ="),
    ):
        (planner.folder / f"{name}.toml").write_text(PLAN.replace(old, new), "utf-8")
    planner.start()
    yield planner
    planner.stop()


def test_the_pages_of_plans_are_translated(speaking, planner):
    client = speaking(planner.folder.with_name("record.db"), planner.path)
    for address in ("", "/new", "/edit?plan=good", "/edit?plan=typed", "/start?plan=good"):
        shown = client.get(f"/plans{address}")
        assert shown.status_code == 200
        assert _untranslated(shown.text) == [], address
    shown = client.get("/plans").text
    for said in ("Never started", "Works here: ", "Does not work here: ", "Cannot be read: "):
        assert _wide(said) in shown
    drawn = client.get("/plans/edit?plan=good").text
    for said in ("Current", "Thickness", "ends at the target", "the best estimate"):
        assert _wide(said) in drawn


def test_what_was_counted_is_told_in_the_plural_of_its_language(speaking, alarm_record):
    shown = speaking(alarm_record).get("/alarms/history")
    assert _wide(" of these are not over.") in shown.text
