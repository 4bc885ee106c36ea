"""In the dark no page flashes white: neither before its style is there nor after."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, Page, Route

from web import app

CANVAS = """() => {
  const probe = document.createElement("i");
  probe.style.backgroundColor = "Canvas";
  document.documentElement.append(probe);
  const colour = getComputedStyle(probe).backgroundColor;
  probe.remove();
  return colour;
}"""
"""What a browser paints where a page says nothing."""

BODY = "() => getComputedStyle(document.body).backgroundColor"

AT_FIRST = """
addEventListener("DOMContentLoaded", () => {
  window.atFirst = getComputedStyle(document.body).backgroundColor;
});
"""


def brightness(colour: str) -> float:
    """0 for black to 255 for white, of `rgb(r, g, b)`."""
    red, green, blue, *rest = (float(part) for part in re.findall(r"[\d.]+", colour))
    assert not rest or rest == [1.0], colour
    return (red + green + blue) / 3


@pytest.fixture
def dark(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(color_scheme="dark")
    yield context.new_page()
    context.close()


@pytest.mark.browser
def test_the_first_page_is_dark_before_and_with_its_style(dark: Page, address: str) -> None:
    held: list[Route] = []
    dark.route("**/*.css", lambda route: held.append(route))
    dark.add_init_script(AT_FIRST)
    with dark.expect_request("**/*.css"):
        dark.goto(address, wait_until="commit")
    # Nothing of ours has been read yet: this is what stands there meanwhile.
    assert brightness(dark.evaluate(CANVAS)) < 50
    assert held
    for route in held:
        route.continue_()
    dark.wait_for_load_state()
    assert brightness(dark.evaluate("window.atFirst")) < 50
    assert brightness(dark.evaluate(BODY)) < 50


@pytest.mark.parametrize("path", ["/", "/runs", "/plans/new", "/sign-in", "/api", "/none", "/bath"])
def test_each_page_says_so_before_its_style_and_scripts(client: FlaskClient, path: str) -> None:
    html = client.get(path).text
    said = html.index('<meta name="color-scheme" content="light dark">')
    assert 0 < said < html.index('rel="stylesheet"')
    assert said < html.find("<script") or "<script" not in html


def test_no_page_has_a_head_of_its_own() -> None:
    """There is one head, so what holds for these pages holds for all."""
    templates = Path(app.__file__).with_name("templates")
    heads = [each.name for each in templates.iterdir() if "<head>" in each.read_text("utf-8")]
    assert heads == ["base.html"]
