"""What a reader finds in a page's HTML, for the tests of pages."""

import re
from html import unescape

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

_TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


def words(response: TestResponse) -> str:
    """The body's text, its white space collapsed; what does not break, as what does."""
    body = response.text.split("<body", 1)[1].split(">", 1)[1]
    said = " ".join(unescape(re.sub(r"<[^>]*>", " ", body)).split())
    return said.replace("\u00a0", " ").replace("\u2011", "-")


def value(response: TestResponse, key: str) -> str:
    """What stands in a field of the form that is shown."""
    found = re.search(rf'name="{re.escape(key)}" value="([^"]*)"', response.text)
    assert found, key
    return unescape(found[1])


def beside(response: TestResponse, key: str) -> str:
    """What is told beneath a field, and tied to it."""
    wrong = "f-" + re.sub("[^a-z0-9]+", "-", key).strip("-") + "-wrong"
    assert f'aria-describedby="{wrong}"' in response.text
    found = re.search(rf'id="{wrong}">([^<]*)<', response.text)
    assert found, key
    return unescape(found[1])


def token(client: FlaskClient, address: str = "/", **query: str) -> str:
    """The word against foreign forms that a page's own form has."""
    found = _TOKEN.search(client.get(address, query_string=query).text)
    assert found, address
    return found[1]
