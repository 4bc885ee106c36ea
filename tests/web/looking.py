"""What the pictures of all pages have in common: on which screens and in which themes."""

from collections.abc import Callable
from typing import Literal

from playwright.sync_api import Page, ViewportSize

SIZES: dict[str, ViewportSize] = {
    "phone": {"width": 390, "height": 844},
    "desktop": {"width": 1280, "height": 800},
}
NARROW: dict[str, ViewportSize] = {**SIZES, "phone": {"width": 360, "height": 740}}
"""With a phone as narrow as most still are."""

THEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")

Look = Callable[[Page, str], None]
"""What is done with each page: it is given the page, and the name of state, size and theme."""


def look_in_each(page: Page, look: Look, name: str, sizes: dict[str, ViewportSize] = SIZES) -> None:
    """Look at a page as it is on every screen and in every theme."""
    for size, viewport in sizes.items():
        page.set_viewport_size(viewport)
        for theme in THEMES:
            page.emulate_media(color_scheme=theme)
            look(page, f"{name}-{size}-{theme}")
