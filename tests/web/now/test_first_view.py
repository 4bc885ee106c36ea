"""What the first view takes over the wire, counted by a browser that has nothing of it yet."""

from typing import Any

import pytest
from loading import follow, is_chart
from playwright.sync_api import Browser, expect

pytestmark = pytest.mark.browser

MOST_BYTES = 60_000
"""A third of a second at 1.5 Mbit/s."""


def test_it_can_be_read_after_few_bytes_and_before_the_chart_is_asked_for(
    browser: Browser, address: str, peer: Any, measured: Any, whisker: Any
) -> None:
    peer.status = measured(alarms=(whisker(),))
    context = browser.new_context()
    page = context.new_page()
    loading = follow(page, throttled=False)
    order: list[str] = []
    page.on("request", lambda request: order.append(request.url))
    with page.expect_request(lambda request: is_chart(request.url)):
        page.goto(address)
    expect(page.get_by_role("heading", level=1)).to_contain_text("Plating.")
    expect(page.locator(".drawn .main-svg").first).to_be_visible(timeout=20_000)
    context.close()

    # The page, its style, its two scripts and the first poll at least; heads are counted too.
    assert len([url for url in loading.sizes if not is_chart(url)]) >= 5
    assert 10_000 < loading.before_chart <= MOST_BYTES
    assert loading.sizes.keys() == set(order)
    # And of the chart nothing was asked for before all of that.
    first = next(place for place, url in enumerate(order) if is_chart(url))
    assert not [url for url in order[first:] if url.endswith((".css", "page.js", "chart.js"))]
