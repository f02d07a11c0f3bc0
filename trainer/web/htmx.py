"""Whole pages, and the fragments that htmx asks for."""

from urllib.parse import urlsplit

from flask import Response, make_response, redirect, render_template, request


def wants_part() -> bool:
    """Say whether htmx asks for a part of the page."""
    return request.headers.get("HX-Request-Type") == "partial"


def page(name: str, status: int = 200, **values: object) -> Response:
    """Render a page, or only its fragment (the template with an underscore) when htmx asks for it."""
    if wants_part():
        folder, _, file = name.rpartition("/")
        name = f"{folder}/_{file}"
    response = make_response(render_template(name, **values), status)
    response.vary.add("HX-Request-Type")
    return response


def go(target: str) -> Response:
    """Send the browser to another page, also when htmx asked."""
    if request.headers.get("HX-Request"):
        response = make_response("", 204)
        response.headers["HX-Redirect"] = target
        return response
    return redirect(target, 303)


def safe_target(given: str, otherwise: str = "/") -> str:
    """Return an address of this program; anything that leads elsewhere becomes `otherwise`."""
    parts = urlsplit(given)
    inside = given.startswith("/") and not given.startswith(("//", "/\\"))
    return given if inside and not parts.scheme and not parts.netloc else otherwise
