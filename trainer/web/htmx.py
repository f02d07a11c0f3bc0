"""What differs when htmx asks: fragments, and redirects that the browser itself follows."""

from urllib.parse import urlsplit

from flask import Response, make_response, redirect, request


def wants_part() -> bool:
    """Say whether htmx asks for a part of the page."""
    return request.headers.get("HX-Request-Type") == "partial"


def go(target: str, code: int = 303) -> Response:
    """Send the browser to another page; htmx would follow a redirect unseen, into a fragment."""
    if request.headers.get("HX-Request"):
        response = make_response("", 204)
        response.headers["HX-Redirect"] = target
        return response
    return redirect(target, code)


def safe_target(given: str, otherwise: str = "/") -> str:
    """Return an address of this program; anything that leads elsewhere becomes `otherwise`."""
    # Browsers drop tabs and line ends, and take a backslash for a slash.
    odd = "\\" in given or not given.isprintable()
    parts = urlsplit(given)
    inside = given.startswith("/") and not given.startswith("//")
    return given if inside and not odd and not parts.scheme and not parts.netloc else otherwise
