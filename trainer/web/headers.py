"""What every answer says about itself: no foreign script, no frame, no copy of a personal page."""

from flask import Flask, Response, g, request

from trainer.web import access

POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; form-action 'self'"
)


def init_app(app: Flask) -> None:
    """Put the headers on every answer."""
    app.after_request(_protect)


def _protect(response: Response) -> Response:
    head = response.headers
    head["Content-Security-Policy"] = POLICY
    head["X-Content-Type-Options"] = "nosniff"
    # Not no-referrer: over HTTPS a form without one is refused.
    head["Referrer-Policy"] = "same-origin"
    head["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
    if access.settings().behind_tls:
        head["Strict-Transport-Security"] = "max-age=31536000"
    if request.endpoint != "static":
        head["Cache-Control"] = "no-store"
    if g.get("forget"):
        head["Clear-Site-Data"] = '"cache", "storage"'
    return response
