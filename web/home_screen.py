"""What puts the page on a phone's home screen, and what stands there without a network.

A web app manifest (W3C Application Manifest) names the page and its icons. A service worker (W3C
Service Workers) keeps one page with its style on the phone, which says that there is no connection.
It keeps nothing else: how the tank is comes from the network or not at all.
"""

import hashlib

from flask import Flask, Response, jsonify, render_template, url_for

from web.assets import Assets
from web.language import gettext as _

PAPER = {"light": "#f4f5f4", "dark": "#111415"}
"""The page's own ground in `page.css`, for the frame that a phone draws around it."""

NAME = "tankhand"

STYLE = "page.css"
"""The only file that the page without a network needs."""


class HomeScreen:
    """The views, over one set of static files."""

    def __init__(self, assets: Assets) -> None:
        self._assets = assets

    def route(self, app: Flask) -> None:
        """Give each view its address. The worker's makes all pages its scope."""
        app.jinja_env.globals["paper"] = PAPER
        app.add_url_rule("/manifest.webmanifest", "manifest", self.manifest)
        app.add_url_rule("/worker.js", "worker", self.worker)
        app.add_url_rule("/offline", "offline", self.offline)

    def manifest(self) -> Response:
        """Give the manifest."""
        response = jsonify(
            {
                "id": url_for("now"),
                "name": NAME,
                "short_name": NAME,
                "description": _("How the tank is, and what may be done."),
                "start_url": url_for("now"),
                "scope": url_for("now"),
                "display": "standalone",
                "background_color": PAPER["light"],
                "theme_color": PAPER["light"],
                "icons": [
                    self._icon("icon-192.png", 192, "any"),
                    self._icon("icon-512.png", 512, "any"),
                    self._icon("icon-full-512.png", 512, "maskable"),
                ],
            }
        )
        response.mimetype = "application/manifest+json"
        return response

    def worker(self) -> Response:
        """Give the service worker. What it keeps is in its text: another page is another worker."""
        page = self.offline()
        kept = hashlib.sha256(page.encode()).hexdigest()[:16]
        script = render_template("worker.js", kept=kept, style=self._assets.address(STYLE))
        return Response(script, mimetype="text/javascript")

    def offline(self) -> str:
        """Give the page that is shown without a network: the same for all, without any figure."""
        return render_template("offline.html")

    def _icon(self, name: str, pixels: int, purpose: str) -> dict[str, str]:
        return {
            "src": self._assets.address(name),
            "sizes": f"{pixels}x{pixels}",
            "type": "image/png",
            "purpose": purpose,
        }
