"""Paths of our own pages, to which a person is led back, and nobody else's."""

from urllib.parse import quote, unquote, urlsplit

from flask import current_app, request, url_for
from werkzeug.exceptions import HTTPException

from web.gate.rights import LOOKS, is_piece

LONGEST = 2000
"""Characters: an address with a form's figures in it has some hundreds."""


def own_path(text: str) -> str:
    """The path, if a page of ours can be looked at there, and the first page otherwise.

    Browsers take a backslash for a slash and leave white space out, so neither is let through.
    """
    first = url_for("now")
    if len(text) > LONGEST or not text.startswith("/") or text.startswith("//"):
        return first
    if "\\" in text or not text.isascii() or any(char <= " " or char == "\x7f" for char in text):
        return first
    path = urlsplit(text).path
    try:
        endpoint, _ = current_app.url_map.bind("localhost").match(unquote(path), "GET")
    except HTTPException:
        return first
    return first if is_piece(endpoint) or endpoint in LOOKS else text


def path_here() -> str:
    """The path of the page that is shown, as far as it is one to come back to."""
    if request.method != "GET":
        return path_of_referrer()
    query = request.query_string.decode("latin-1")
    here = quote(request.path) + (f"?{query}" if query else "")
    return own_path(here)


def path_of_referrer() -> str:
    """The path of the page from which a form was sent."""
    came = urlsplit(request.referrer or "")
    if came.netloc != request.host:
        return url_for("now")
    return own_path(came.path + (f"?{came.query}" if came.query else ""))
