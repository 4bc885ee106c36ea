"""The page on a phone's home screen: manifest, icons, and what it shows without a network."""

import re
import struct
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from icons import DRAWN, STATIC
from playwright.sync_api import Browser, Page, expect

from daemon.access.operators import operators_at
from daemon.api.listen import Listen
from web.app import create_app


def pixels(png: bytes) -> tuple[int, int]:
    """Width and height of a PNG file by its first chunk (ISO/IEC 15948, 11.2.2)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert png[12:16] == b"IHDR"
    return struct.unpack(">II", png[16:24])


@pytest.mark.parametrize("name", DRAWN)
def test_each_icon_has_its_size(name: str):
    source, wide = DRAWN[name]
    assert pixels((STATIC / name).read_bytes()) == (wide, wide)
    assert (STATIC / source).is_file()


def test_the_manifest_has_what_a_phone_asks_for(client: FlaskClient):
    page = client.get("/").text
    linked = re.search(r'<link rel="manifest" href="([^"]+)"', page)
    assert linked
    answer = client.get(linked[1])
    assert answer.mimetype == "application/manifest+json"
    told = answer.get_json(force=True)
    assert (told["name"], told["short_name"], told["display"]) == (
        "tankhand", "tankhand", "standalone",
    )  # fmt: skip
    assert client.get(told["start_url"]).status_code == 200
    assert told["start_url"].startswith(told["scope"])
    found = {}
    for icon in told["icons"]:
        given = client.get(icon["src"])
        assert given.mimetype == icon["type"] == "image/png"
        wide, high = pixels(given.data)
        assert icon["sizes"] == f"{wide}x{high}"
        found[wide, icon["purpose"]] = icon["src"]
    assert set(found) == {(192, "any"), (512, "any"), (512, "maskable")}


def test_a_page_names_its_icon_and_ground_and_may_load_them(client: FlaskClient):
    answer = client.get("/runs")
    apple = re.search(r'<link rel="apple-touch-icon" href="([^"]+)"', answer.text)
    assert apple
    assert pixels(client.get(apple[1]).data) == (180, 180)
    named = r'"theme-color" media="\(prefers-color-scheme: (\w+)\)" content="([^"]+)"'
    ground = dict(re.findall(named, answer.text))
    style = (STATIC / "page.css").read_text("utf-8")
    assert re.findall(r"--paper: (#\w+)", style) == [ground["light"], ground["dark"]]
    policy = answer.headers["Content-Security-Policy"].split("; ")
    assert {"manifest-src 'self'", "worker-src 'self'", "img-src 'self'"} <= set(policy)


def test_the_worker_is_one_for_all_pages_and_never_kept_by_the_server(client: FlaskClient):
    answer = client.get("/worker.js")
    assert answer.mimetype == "text/javascript"
    assert answer.headers["Cache-Control"] == "no-store"
    style = re.search(r'const STYLE = "([^"]+)"', answer.text)
    assert style
    assert client.get(style[1]).mimetype == "text/css"
    assert answer.data == client.get("/worker.js").data


def test_another_offline_page_makes_another_worker(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
):
    before = client.get("/worker.js").text
    monkeypatch.setattr("web.home_screen.HomeScreen.offline", lambda _self: "another")
    after = client.get("/worker.js").text
    kept = re.compile('const KEPT = "([^"]+)"')
    assert kept.findall(before) != kept.findall(after)


def test_they_are_for_those_too_who_may_not_look(peer: Any, tmp_path: Path, record: Path):
    operators = operators_at(record)
    listen = Listen("127.0.0.1", 8080, ("tank.lan",))
    client = create_app(peer.path, record, listen, reading="operators").test_client()
    assert not operators.exists()
    asked = {"Host": "tank.lan:8080", "X-Forwarded-For": "10.0.0.7"}
    assert client.get("/", headers=asked).status_code == 303
    for address in ("/manifest.webmanifest", "/worker.js", "/offline"):
        assert client.get(address, headers=asked).status_code == 200, address


@pytest.fixture
def installed(browser: Browser, address: str) -> Any:
    """A phone whose worker is at work."""
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(address)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    yield page
    context.close()


KEPT = """async () => {
  const found = [];
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const each of await cache.keys()) found.push(new URL(each.url).pathname);
  }
  return found.sort();
}"""


def test_without_a_network_no_old_figure_is_shown(installed: Page, address: str):
    expect(installed.get_by_role("heading")).to_contain_text("18.2")
    for path in ("", "/runs", "/bath"):
        # Looked at through the worker just before.
        installed.context.set_offline(False)
        installed.goto(f"{address}{path}")
        installed.context.set_offline(True)
        installed.goto(f"{address}{path}")
        expect(installed.get_by_role("heading")).to_contain_text(
            "No connection to the tank's page."
        )
        expect(installed.get_by_text("emergency stop").first).to_be_visible()
        assert not re.search(r"[0-9]", installed.locator("body").inner_text())
    # It has its style: danger is red.
    red = installed.locator(".word").evaluate("e => getComputedStyle(e).backgroundColor")
    assert red == "rgb(179, 16, 26)"
    installed.get_by_role("link", name="Try again").click()
    expect(installed.get_by_role("heading")).to_contain_text("No connection")
    installed.context.set_offline(False)
    installed.get_by_role("link", name="Try again").click()
    expect(installed.get_by_role("heading")).to_contain_text("Plating. 18.2")


def test_nothing_but_that_page_is_ever_kept(installed: Page, address: str, peer: Any, run: Any):
    for path in ("/runs", "/bath", "/details", "/status.json", "/"):
        installed.goto(f"{address}{path}")
    kept = installed.evaluate(KEPT)
    assert [re.sub("/static/[0-9a-f]+/", "", path) for path in kept] == ["/offline", "page.css"]
    # What is asked through the worker is the tank's newest word.
    changed = run.model_copy(update={"thickness_um": 18.9})
    peer.status = peer.status.model_copy(update={"run": changed})
    installed.goto(address)
    expect(installed.get_by_role("heading")).to_contain_text("18.9")
    installed.context.set_offline(True)
    for path in ("/status.json", "/chart.json?run=12", "/api/v1/state"):
        gone = installed.evaluate("(path) => fetch(path).then(() => 'there', () => 'gone')", path)
        assert gone == "gone", path


def test_a_press_never_goes_through_the_worker(installed: Page, address: str, peer: Any):
    with installed.expect_response(f"{address}/") as looked:
        installed.goto(address)
    assert looked.value.from_service_worker
    with installed.expect_response("**/act/stop") as pressed:
        installed.get_by_role("button", name="Stop").click()
    assert not pressed.value.from_service_worker
    assert [ask for ask, *_ in peer.acts] == ["stop"]
