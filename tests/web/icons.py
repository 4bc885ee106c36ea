"""Draws the icons of the home screen anew from their SVG: `python tests/web/icons.py`.

A phone wants PNG files of fixed sizes; Chromium draws them, as it does in the browser's tests.
"""

from pathlib import Path

from chromium import opened
from playwright.sync_api import Browser

STATIC = Path(__file__).parents[2] / "web" / "static"

DRAWN = {
    "icon-192.png": ("icon.svg", 192),
    "icon-512.png": ("icon.svg", 512),
    "icon-full-512.png": ("icon-full.svg", 512),
    "icon-full-180.png": ("icon-full.svg", 180),
}
"""Each file, what it is drawn from, and its width and height in pixels."""


def draw(browser: Browser, source: Path, pixels: int) -> bytes:
    """Give a square PNG of an SVG file, without anything where it draws nothing."""
    page = browser.new_page(viewport={"width": pixels, "height": pixels})
    style = "html, body { margin: 0; background: transparent } svg { display: block; width: 100vw }"
    page.set_content(f"<style>{style}</style>{source.read_text('utf-8')}")
    drawn = page.screenshot(omit_background=True)
    page.close()
    return drawn


if __name__ == "__main__":
    with opened() as chromium:
        for name, (source, pixels) in DRAWN.items():
            (STATIC / name).write_bytes(draw(chromium, STATIC / source, pixels))
