"""Static files under addresses that carry their content's hash, so that browsers keep them.

The chart's library is 5 MB: it is found in its own package without importing it, and packed once.
"""

import gzip
import hashlib
import importlib.util
import threading
from pathlib import Path

OURS = Path(__file__).parent / "static"
CHART_LIBRARY = "plotly.min.js"
KEEP = "public, max-age=31536000, immutable"
"""A year: another content has another address."""


class Assets:
    """The files that the page loads. Safe to share between threads."""

    def __init__(self) -> None:
        self._paths = {path.name: path for path in sorted(OURS.iterdir()) if path.is_file()}
        self._paths[CHART_LIBRARY] = _chart_library()
        self._tags = {name: _tag(path) for name, path in self._paths.items()}
        self._packed: dict[str, bytes] = {}
        self._lock = threading.Lock()

    def address(self, name: str) -> str:
        """Give the path under which `name` is served; KeyError where there is no such file."""
        return f"/static/{self._tags[name]}/{name}"

    def find(self, tag: str, name: str) -> Path | None:
        """Find the file of this name and content; None where there is none."""
        return self._paths[name] if self._tags.get(name) == tag else None

    def packed(self, name: str) -> bytes:
        """Give the file gzipped: packed at the first request, kept from then on."""
        with self._lock:
            if name not in self._packed:
                self._packed[name] = gzip.compress(self._paths[name].read_bytes(), mtime=0)
            return self._packed[name]


def _chart_library() -> Path:
    spec = importlib.util.find_spec("plotly")
    if spec is None or spec.origin is None:
        raise FileNotFoundError("the package plotly is not installed, which holds the chart")
    return Path(spec.origin).parent / "package_data" / CHART_LIBRARY


def _tag(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]
