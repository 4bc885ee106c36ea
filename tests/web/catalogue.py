"""Writes the template of the page's catalogues anew: `python tests/web/catalogue.py`.

Every text that is marked in `web/` goes into `web/locale/tankhand.pot`, by Babel, as
`[tool.babel]` in `pyproject.toml` says. Sorted, without line numbers or a date, so that it changes
with the texts only.
"""

import io
import tomllib
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract_from_dir
from babel.messages.pofile import write_po

ROOT = Path(__file__).parents[2]
TEMPLATE = ROOT / "web" / "locale" / "tankhand.pot"
LABELLED = {"Field": (2,), "Group": (1,)}
HEADED = dict.fromkeys(("Asked", "Entry", "Method", "Way"), (2, 3))
KEYWORDS = DEFAULT_KEYWORDS | {"marked": None} | LABELLED | HEADED
"""Labels of fields, titles of their groups and headings of pages are marked by what they are."""


def template() -> Catalog:
    """Every marked text, with the files in which it stands."""
    told = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["babel"]
    methods = [(each["pattern"], each["method"]) for each in told["mappings"]]
    options = {each["pattern"]: each for each in told["mappings"]}
    found = Catalog(project="tankhand", charset="utf-8")
    for file, _, text, _, context in extract_from_dir(ROOT / "web", methods, options, KEYWORDS):
        found.add(text, locations=[(f"web/{file}", 0)], context=context)
    return found


def written(catalogue: Catalog) -> str:
    """The template's file, as it is kept."""
    file = io.BytesIO()
    write_po(file, catalogue, sort_output=True, omit_header=True, include_lineno=False, width=100)
    header = 'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=UTF-8\\n"\n\n'
    return header + file.getvalue().decode("utf-8")


if __name__ == "__main__":
    TEMPLATE.write_text(written(template()), "utf-8")
