"""What every answer says about itself: no foreign script, no frame, no copy of a personal page."""

from functools import cache
from hashlib import sha256
from pathlib import Path

from flask import Flask, Response, g, request

from trainer.web import access

POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; form-action 'self'"
)


def init_app(app: Flask) -> None:
    """Put the headers on every answer, and the files' version into their addresses."""
    app.after_request(_protect)
    version = _version(Path(app.static_folder))
    # Browsers keep a file for a year; a changed one has another address.
    app.jinja_env.globals["static"] = lambda name: f"/static/{name}?v={version}"


@cache
def _version(folder: Path) -> str:
    digest = sha256()
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:8]


def _protect(response: Response) -> Response:
    head = response.headers
    # A picture says something stricter about itself.
    head.setdefault("Content-Security-Policy", POLICY)
    head["X-Content-Type-Options"] = "nosniff"
    # Not no-referrer: over HTTPS a form without one is refused.
    head["Referrer-Policy"] = "same-origin"
    head["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
    if access.started_with().behind_tls:
        head["Strict-Transport-Security"] = "max-age=31536000"
    if request.endpoint != "static":
        head.setdefault("Cache-Control", "no-store")
    if g.get("forget"):
        head["Clear-Site-Data"] = '"cache", "storage"'
    return response
