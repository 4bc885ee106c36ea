"""What a page takes over the wire in Chromium with nothing kept, and when it can be read."""

from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Page

LATENCY_MS, BITS_A_SECOND = 150, 1_500_000
"""A slow connection: each answer's delay, and its speed down and up."""

CHART = ("/plotly.min.js", "/chart.json")
"""What comes after the page can be read."""

NOTE_SENTENCE = """
addEventListener("DOMContentLoaded", () => {
  const look = () => {
    const word = document.querySelector("h1");
    const seen = word && word.checkVisibility() && word.getBoundingClientRect().height > 0;
    if (seen) window.sentenceMs = performance.now();
    else requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
});
"""


@dataclass
class Loading:
    """Follows what a page loads; `sizes` are the bytes of each address, heads included."""

    sizes: dict[str, int] = field(default_factory=dict)
    _asked: dict[str, str] = field(default_factory=dict)

    @property
    def before_chart(self) -> int:
        """The bytes of all but the chart."""
        return sum(size for url, size in self.sizes.items() if not is_chart(url))

    def note_request(self, event: dict[str, Any]) -> None:
        self._asked[event["requestId"]] = event["request"]["url"]

    def note_end(self, event: dict[str, Any]) -> None:
        url = self._asked.get(event["requestId"], "")
        self.sizes[url] = self.sizes.get(url, 0) + int(event["encodedDataLength"])


def is_chart(url: str) -> bool:
    """Whether an address is asked for only once the page can be read."""
    return any(part in url for part in CHART)


def follow(page: Page, *, throttled: bool) -> Loading:
    """Follow a page that has loaded nothing yet, over a slow connection or as it is."""
    session = page.context.new_cdp_session(page)
    loading = Loading()
    session.on("Network.requestWillBeSent", loading.note_request)
    session.on("Network.loadingFinished", loading.note_end)
    session.send("Network.enable")
    session.send("Network.setCacheDisabled", {"cacheDisabled": True})
    if throttled:
        bytes_a_second = BITS_A_SECOND / 8
        session.send(
            "Network.emulateNetworkConditions",
            {
                "offline": False,
                "latency": LATENCY_MS,
                "downloadThroughput": bytes_a_second,
                "uploadThroughput": bytes_a_second,
            },
        )
    return loading
