"""The page's texts can be put into other languages: catalogues, marks, and what has none."""

from pathlib import Path
from typing import get_args

import pytest
from catalogue import TEMPLATE, template, written
from flask import Flask, render_template_string

from daemon.api.languages import SOURCE, Language
from web.language import CATALOGUES, speak


def test_the_catalogues_template_has_every_marked_text():
    assert TEMPLATE.read_text("utf-8") == written(template()), (
        "python tests/web/catalogue.py writes it anew"
    )


def test_each_language_that_the_settings_know_has_its_catalogue():
    kept = {path.name for path in CATALOGUES.iterdir() if path.is_dir()}
    assert kept == set(get_args(Language)) - {SOURCE}


def test_a_language_without_a_catalogue_is_refused(tmp_path: Path):
    with pytest.raises(FileNotFoundError):
        speak(Flask("page"), "xx", tmp_path)


def test_values_are_escaped_in_texts_and_the_texts_are_not(tmp_path: Path):
    app = Flask("page")
    speak(app)
    with app.app_context():
        said = render_template_string(
            "{{ _('<b>%(name)s</b>, 95 %%', name=name) }}"
            "{% trans name %}<i>{{ name }}</i>, 95 %{% endtrans %}",
            name="<script>",
        )
    assert said == "<b>&lt;script&gt;</b>, 95 %<i>&lt;script&gt;</i>, 95 %"
