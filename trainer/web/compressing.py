"""Answers made small for slow telephones: pages, and the style sheets and scripts beside them.

What a page says of itself in bytes could tell somebody who listens and makes a browser ask again
and again, with guesses in the address, a secret that stands in the page (BREACH, 2013). Here the
cookie of the session is SameSite=Lax, so no other site can let a browser ask for somebody's pages
unseen; the token of the forms is signed anew each second, so there is nothing that stays to be
guessed whole; and each page is longer by up to a hundred bytes that are left to chance, which
takes the measure away from whoever would count single ones.
"""

import gzip
import secrets
from functools import lru_cache
from io import BytesIO
from pathlib import Path

from flask import Flask, Response, request

TEXTS = frozenset({"text/html", "text/css", "text/javascript", "image/svg+xml"})
LEAST = 500
"""Fewer bytes are one packet of the network, small or not."""
CHANCE = 100
QUICK, SMALL = 4, 9


def init_app(app: Flask) -> None:
    """Make answers small where the browser understands it."""
    folder = Path(app.static_folder)
    app.after_request(lambda response: _small(response, folder))


def _small(response: Response, folder: Path) -> Response:
    if response.status_code in (204, 206, 304) or response.mimetype not in TEXTS:
        return response
    of_file = request.endpoint == "static" and response.status_code == 200
    response.vary.add("Accept-Encoding")
    if "gzip" not in request.accept_encodings or "Content-Encoding" in response.headers:
        return response
    if of_file:
        path = folder / request.view_args["filename"]
        response.response.close()  # the file itself, which was opened to be sent
        response.direct_passthrough = False
        response.set_data(_file(path, path.stat().st_mtime_ns))
        response.set_etag(f"{response.get_etag()[0]}-gzip")
    elif response.is_streamed or response.content_length < LEAST:
        return response
    else:
        response.set_data(_page(response.get_data()))
    response.headers["Content-Encoding"] = "gzip"
    return response


def _page(data: bytes) -> bytes:
    packed = BytesIO()
    # The name of a file in the head of it, which nobody reads, is what is left to chance.
    name = "x" * secrets.randbelow(CHANCE)
    with gzip.GzipFile(name, "wb", compresslevel=QUICK, fileobj=packed, mtime=0) as file:
        file.write(data)
    return packed.getvalue()


@lru_cache(maxsize=64)
def _file(path: Path, _changed: int) -> bytes:
    """Return one of our files made small, once for each state of it."""
    return gzip.compress(path.read_bytes(), SMALL, mtime=0)
