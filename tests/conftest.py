"""How the made-up cases of tests are chosen: always the same ones, unless they are searched for.

`pytest --hypothesis-profile=search` looks for new ones; what it finds is mended and kept as an
`@example`. A change is then never refused for a case that has nothing to do with it, nor for a
machine that is slow: there is no deadline.
"""

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("search", print_blob=True, deadline=None)
settings.load_profile("steady")
