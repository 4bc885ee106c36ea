"""The languages in which the page can be had."""

from typing import Literal

Language = Literal["en"]
"""By their tags after BCP 47; each but English has its catalogue in `web/locale/`."""

SOURCE = "en"
"""In which the sources are written."""
