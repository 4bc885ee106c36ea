"""The page's language: English in the sources, others from catalogues of GNU gettext.

A page has one language, that of the settings. Its texts are marked where they stand: `_("...")` and
`{% trans %}` in templates, `_`, `ngettext` and `marked` from here in Python. A text is a format:
`%(name)s` takes a value, and a percent sign of its own is doubled; `{% trans %}` doubles it itself,
and one that is `marked` is no format: templates show it by the filter `spoken`.
What comes from the record is never given to any of these.
"""

import gettext as standard
from pathlib import Path

from flask import Flask, current_app, has_app_context

from daemon.api.languages import SOURCE

DOMAIN = "tankhand"
"""The catalogues' name."""

CATALOGUES = Path(__file__).parent / "locale"
"""Holds a folder for each language but English: `LANGUAGE/LC_MESSAGES/tankhand.mo`."""

LANGUAGE = "tankhand language"
"""Under which an app of ours has its catalogue among its extensions."""


def speak(app: Flask, language: str = SOURCE, catalogues: Path = CATALOGUES) -> None:
    """Have an app's templates and views speak `language`.

    Raises FileNotFoundError where there is no catalogue of it. A text that a catalogue lacks is
    shown in English.
    """
    texts = standard.NullTranslations()
    if language != SOURCE:
        texts = standard.translation(DOMAIN, catalogues, [language])
    app.extensions[LANGUAGE] = texts
    app.jinja_env.add_extension("jinja2.ext.i18n")
    app.jinja_env.policies["ext.i18n.trimmed"] = True
    app.jinja_env.install_gettext_translations(texts, newstyle=True)  # type: ignore[attr-defined]
    app.jinja_env.globals["language"] = language
    app.jinja_env.filters["spoken"] = spoken


def gettext(text: str, /, **values: object) -> str:
    """Give a text in the page's language, with its values in their places."""
    return _texts().gettext(text) % values


def ngettext(one: str, several: str, count: int, /, **values: object) -> str:
    """Give the text for so many, which stand at `%(num)d`, with its other values."""
    return _texts().ngettext(one, several, count) % ({"num": count} | values)


def marked(text: str) -> str:
    """Mark a text that is put into the page's language where it is shown."""
    return text


def spoken(text: str) -> str:
    """Give a `marked` text in the page's language; what was not marked comes back as it is."""
    return _texts().gettext(text) if text else text


def _texts() -> standard.NullTranslations:
    """The catalogue of the page that is asked; outside of one the sources' own texts."""
    if not has_app_context():
        return standard.NullTranslations()
    texts: standard.NullTranslations = current_app.extensions[LANGUAGE]
    return texts
