"""The browser, and how made-up cases of tests are chosen: the same ones, unless searched for.

`pytest --hypothesis-profile=search` looks for new ones; what it finds is mended and kept as an
`@example`. A change is then never refused for a case that has nothing to do with it, nor for a
machine that is slow: there is no deadline. "unshrunk" makes no failing case smaller, for those who
only want to know whether one fails.
"""

import pytest
from hypothesis import Phase, settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("search", print_blob=True, deadline=None)
settings.register_profile(
    "unshrunk", settings.get_profile("steady"), phases=[Phase.explicit, Phase.generate]
)
settings.load_profile("steady")


@pytest.fixture(scope="session")
def browser():
    """One for all tests: a process can have no second one beside it."""
    from tests.web.chromium import opened  # loaded only where a page is looked at

    with opened() as browser:
        yield browser
