"""Pictures that people bring: read, made safe and written anew.

Nothing of a file is believed but what its own first bytes say, and nothing of it is kept but what
can be seen: a photo is decoded and encoded again, a drawing is built again from an allow list.
So no place where a photo was taken, no script and no second file hidden behind the first remains.
"""

import re
from contextlib import suppress
from dataclasses import dataclass
from html import escape
from io import BytesIO
from threading import Lock

from PIL import Image, ImageCms, ImageOps

from . import safe_svg
from .fault import PictureFault

# Our own choices, no source: what a phone's photo needs, and what a small server can bear.
MOST_BYTES = 8 * 1024 * 1024
MOST_SVG_BYTES = 1024 * 1024
LONGEST_SIDE = 1600
MOST_PIXELS = {"JPEG": 64_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
"""A JPEG is decoded at an eighth to the whole of its size, the others only whole."""

MOST_SCANS = 64
"""Times that a JPEG may go over all its pixels; cameras and programs write at most a dozen."""

# What is not a marker inside the data of a scan: a stuffed byte, a restart, a fill byte.
# Source: ITU-T T.81, B.1.1.
_MARKER = re.compile(rb"\xff([^\x00\xd0-\xd7\xff])", re.S)
_SCAN, _END = 0xDA, 0xD9

QUALITY = 85
TOO_MUCH_FOR_PNG = 1024 * 1024

TYPES = {
    "png": "image/png",
    "jpeg": "image/jpeg",
    "webp": "image/webp",
    "svg": "image/svg+xml",
}
"""Each kind of picture, and what a browser calls it."""

# Decoded pictures are large: one at a time, however many threads take uploads.
_ONE_AT_A_TIME = Lock()


@dataclass(frozen=True)
class Picture:
    """A safe picture: its kind (png, jpeg, webp or svg), its size in pixels, its bytes."""

    kind: str
    width: int
    height: int
    data: bytes


def make_safe(data: bytes) -> Picture:
    """Return a picture written anew from the bytes of any file.

    Errors: PictureFault for what is no picture, is too large or broken, or holds what is refused.
    """
    if not data:
        raise PictureFault("empty")
    if len(data) > MOST_BYTES:
        raise PictureFault("bytes")
    kind = _kind(data)
    if kind == "SVG":
        if len(data) > MOST_SVG_BYTES:
            raise PictureFault("bytes")
        return Picture("svg", *safe_svg.made_anew(data, LONGEST_SIDE))
    with _ONE_AT_A_TIME:
        return _encoded(_pixels(data, kind), kind)


def figure(address: str, width: int, height: int, description: str) -> str:
    """Return a picture as it stands in a page, as safe HTML.

    description     what it shows, for people who do not see it
    """
    return (
        f'<figure class="picture"><img src="{escape(address)}" alt="{escape(description)}" '
        f'width="{int(width)}" height="{int(height)}" loading="lazy"></figure>'
    )


def _kind(data: bytes) -> str:
    """Return what the first bytes say that a file is."""
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "WEBP"
    if safe_svg.looks_like_one(data):
        return "SVG"
    raise PictureFault("kind")


def _pixels(data: bytes, kind: str) -> Image.Image:
    """Return what can be seen of a photo, upright, in sRGB, at most LONGEST_SIDE, and no more."""
    if kind == "JPEG" and _scans(data) > MOST_SCANS:
        raise PictureFault("broken")
    try:
        # Only the header is read here; nothing is decoded before its size is known to be fine.
        with Image.open(BytesIO(data), formats=(kind,)) as image:
            if image.width * image.height > MOST_PIXELS[kind]:
                raise PictureFault("pixels")
            return _upright(image)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PictureFault("pixels") from None
    except PictureFault:
        raise
    except Exception as error:  # broken bytes make a decoder raise anything at all
        raise PictureFault("broken") from error


def _scans(data: bytes) -> int:
    """Return how often a JPEG goes over its pixels; what follows its end does not count."""
    count, at = 0, 2
    while found := _MARKER.search(data, at):
        at = found.end()
        if found[1][0] == _END:
            break
        count += found[1][0] == _SCAN
        at += int.from_bytes(data[at : at + 2], "big")
    return count


def _upright(image: Image.Image) -> Image.Image:
    notes = dict(image.info)
    image.draft(None, (LONGEST_SIDE, LONGEST_SIDE))
    seen = _plain(image)
    seen.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    if profile := notes.get("icc_profile"):
        seen = _in_srgb(seen, profile)
    if seen.mode == "CMYK":
        seen = seen.convert("RGB")
    seen.info = notes
    # How it was held stands in what the camera wrote beside the pixels; without that it stays.
    with suppress(Exception):
        seen = ImageOps.exif_transpose(seen)
    return Image.frombytes(seen.mode, seen.size, seen.tobytes())


def _plain(image: Image.Image) -> Image.Image:
    """Return the picture as grey, colour, colour with transparency, or inks (CMYK)."""
    if image.mode == "I;16":
        # A plain conversion would cut off all above 255 instead of dividing.
        return image.point(lambda value: value * (1 / 257)).convert("L")
    if image.has_transparency_data:
        return image.convert("RGBA")
    if image.mode in ("1", "L"):
        return image.convert("L")
    return image if image.mode in ("RGB", "CMYK") else image.convert("RGB")


def _in_srgb(image: Image.Image, profile: bytes) -> Image.Image:
    """Return the picture in the colours that every browser shows; a profile it cannot use goes."""
    mode = "RGB" if image.mode == "CMYK" else image.mode
    try:
        theirs = ImageCms.ImageCmsProfile(BytesIO(profile))
        return ImageCms.profileToProfile(
            image, theirs, ImageCms.createProfile("sRGB"), outputMode=mode
        )
    except (ImageCms.PyCMSError, OSError, TypeError, ValueError):
        return image


def _encoded(image: Image.Image, kind: str) -> Picture:
    """Return the picture in the format that suits it.

    What may be seen through stays so. Of the others a drawing is smaller, and sharper, as PNG;
    a photo is many times smaller as JPEG.
    """
    if image.mode == "RGBA" and image.getchannel("A").getextrema() == (255, 255):
        image = image.convert("RGB")
    if image.mode == "RGBA":
        data = _saved(image, "PNG")
        if len(data) <= TOO_MUCH_FOR_PNG:
            return Picture("png", *image.size, data)
        return Picture("webp", *image.size, _saved(image, "WEBP", quality=QUALITY))
    photo = _saved(image, "JPEG", quality=QUALITY, progressive=True, optimize=True)
    if kind != "JPEG":
        drawn = _saved(image, "PNG")
        if len(drawn) <= len(photo):
            return Picture("png", *image.size, drawn)
    return Picture("jpeg", *image.size, photo)


def _saved(image: Image.Image, name: str, **how: object) -> bytes:
    kept = BytesIO()
    image.save(kept, name, **how)
    return kept.getvalue()
