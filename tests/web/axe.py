"""Looks for barriers in every state of the page: `python tests/web/axe.py [STATE]`.

`--fetch` instead of a state only fetches axe-core, as `./go test` does before the tests.

By axe-core in a real browser, with its rules of WCAG 2.2 A and AA and its best practices, in the
states, sizes and themes of the pictures. It is fetched once from the npm registry, by version and
hash, into the user's cache. Exit code 1 where anything was found.
"""

import base64
import hashlib
import os
import sys
import tarfile
import urllib.request
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, Route

VERSION = "4.14.1"
ARCHIVE = f"axe-core-{VERSION}.tgz"
SHA512 = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
"""As the registry has it, base64."""

MEMBER = "package/axe.min.js"
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")


class AxeError(Exception):
    """axe-core is neither in the cache nor to be had."""


def axe() -> str:
    """axe-core's script, from the user's cache or the registry. Raises `AxeError`."""
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "tankhand"
    kept = cache / ARCHIVE
    if not (kept.exists() and _is_right(kept.read_bytes())):
        registry = os.environ.get("NPM_CONFIG_REGISTRY", "https://registry.npmjs.org").rstrip("/")
        address = f"{registry}/axe-core/-/{ARCHIVE}"
        try:
            with urllib.request.urlopen(address, timeout=60) as answer:
                fetched = answer.read()
        except OSError as error:
            raise AxeError(
                f"axe-core {VERSION} is not in {cache}, and cannot be had from {address}: {error}"
            ) from error
        if not _is_right(fetched):
            raise AxeError(f"{address} has another SHA-512 than it should have")
        cache.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(fetched)
    with tarfile.open(kept) as archive:
        member = archive.extractfile(MEMBER)
        if member is None:
            raise AxeError(f"{kept} holds no {MEMBER}")
        return member.read().decode("utf-8")


def _is_right(data: bytes) -> bool:
    return base64.b64encode(hashlib.sha512(data).digest()).decode() == SHA512


class Barriers:
    """Looks at pages, and gathers what keeps people out: a line for each, by state."""

    def __init__(self) -> None:
        self.found: list[str] = []
        self.looked = 0
        self._script = axe()

    def look(self, page: Page, name: str) -> None:
        """Look at a page as it stands, in a window of its own where scripts of a tool may run."""
        assert page.context.browser
        html, address = page.content(), page.url
        context = page.context.browser.new_context(
            viewport=page.viewport_size, color_scheme="dark" if "dark" in name else "light"
        )
        beside = context.new_page()

        def answer(route: Route) -> None:
            if route.request.is_navigation_request():
                route.fulfill(body=html, content_type="text/html; charset=utf-8")
            elif route.request.resource_type == "script":
                route.abort()
            else:
                route.continue_()

        beside.route("**/*", answer)
        beside.goto(address)
        beside.evaluate(self._script)
        options = {"runOnly": list(TAGS), "resultTypes": ["violations"]}
        seen = beside.evaluate("(options) => axe.run(document, options)", options)
        context.close()
        self.looked += 1
        self.found += [f"{name}: {_told(each)}" for each in seen["violations"]]


def _told(violation: dict[str, Any]) -> str:
    where = "; ".join(str(node["html"])[:160] for node in violation["nodes"][:4])
    return f"{violation['id']}: {violation['help']}: {where}"


if __name__ == "__main__":
    if sys.argv[1:2] == ["--fetch"]:
        try:
            axe()
        except AxeError as error:
            sys.exit(str(error))
        sys.exit()
    # The states need a folder of tests beside them, which is there when this is run.
    from chromium import opened
    from screenshots import every_state

    barriers = Barriers()
    with opened() as chromium:
        every_state(chromium, barriers.look, *sys.argv[1:2])
    sys.stdout.writelines(f"{line}\n" for line in barriers.found)
    sys.stdout.write(f"{barriers.looked} looks, {len(barriers.found)} with a barrier\n")
    sys.exit(bool(barriers.found))
