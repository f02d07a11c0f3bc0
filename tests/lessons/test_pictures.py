"""Pictures made safe: every kind that may come, and what hides in files that say they are one.

The corpus is made here. What comes out is opened again, by another reader than wrote it: photos
by Pillow, from their first byte to their last; drawings by an XML parser.
"""

import struct
import zlib
from io import BytesIO
from xml.etree import ElementTree

import pytest
from bs4 import BeautifulSoup
from PIL import Image, ImageCms, ImageDraw, ImageFile

from trainer.lessons import pictures, safe_svg
from trainer.lessons.fault import PictureFault
from trainer.lessons.pictures import LONGEST_SIDE, figure, make_safe

MARK = b"<script>alert(1)</script>"
ORIENTATION, GPS, MAKE = 0x0112, 0x8825, 0x010F
PLACE = "Invented Cove 7"
SVG = "{http://www.w3.org/2000/svg}"


def photo(mode: str = "RGB", size: tuple[int, int] = (60, 40)) -> Image.Image:
    """Return something like a photo: many shades, the upper left corner the lightest."""
    shade = Image.linear_gradient("L").rotate(180).resize(size)
    noise = Image.effect_noise(size, 20)
    return Image.blend(shade, noise, 0.3).convert("RGB").convert(mode)


def drawn(size: tuple[int, int] = (300, 200)) -> Image.Image:
    """Return a drawing: few colours, sharp edges."""
    image = Image.new("RGB", size, "white")
    pen = ImageDraw.Draw(image)
    pen.rectangle((20, 20, size[0] // 2, size[1] - 20), fill="red", outline="black", width=3)
    pen.line((0, 0, *size), fill="blue", width=4)
    return image


def saved(image: Image.Image, name: str, **how: object) -> bytes:
    """Return a picture in a format."""
    kept = BytesIO()
    image.save(kept, name, **how)
    return kept.getvalue()


def opened(picture: pictures.Picture) -> Image.Image:
    """Open a safe picture again: it is what it says, whole, one frame, and carries no notes."""
    image = Image.open(BytesIO(picture.data))
    image.load()
    assert (image.format.lower(), image.size) == (picture.kind, (picture.width, picture.height))
    assert getattr(image, "n_frames", 1) == 1
    assert not dict(image.getexif())
    assert not {"exif", "icc_profile", "comment", "xmp", "photoshop", "XML:com.adobe.xmp"} & set(
        image.info
    )
    return image


def refused(data: bytes) -> str:
    """Return why a file is refused."""
    with pytest.raises(PictureFault) as caught:
        make_safe(data)
    assert caught.value.key in PictureFault.KEYS
    return caught.value.key


# Photos


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (saved(photo(), "JPEG"), "jpeg"),
        (saved(photo("L"), "JPEG"), "jpeg"),
        (saved(photo("CMYK"), "JPEG"), "jpeg"),
        (saved(photo(), "JPEG", progressive=True), "jpeg"),
        (saved(drawn(), "PNG", compress_level=1), "png"),
        (saved(drawn().convert("L"), "PNG", compress_level=1), "png"),
        (saved(drawn().convert("1"), "PNG"), "png"),
        (saved(drawn().convert("P"), "PNG"), "png"),
        (saved(photo(size=(600, 400)), "PNG"), "jpeg"),  # many times smaller so
        (saved(photo(size=(600, 400)), "WEBP"), "jpeg"),
        (saved(drawn(), "WEBP", lossless=True), "png"),
    ],
)
def test_each_kind_is_written_anew(data, kind):
    picture = make_safe(data)
    assert picture.kind == kind
    assert picture.data != data
    assert opened(picture).size == Image.open(BytesIO(data)).size


def test_what_is_seen_stays_the_same():
    data = saved(drawn(), "PNG")
    assert opened(make_safe(data)).convert("RGB").tobytes() == drawn().tobytes()


def test_inks_become_the_colours_they_show():
    """CMYK 0, 255, 255, 0 is red."""
    image = opened(make_safe(saved(Image.new("CMYK", (8, 8), (0, 255, 255, 0)), "JPEG")))
    red, green, blue = image.convert("RGB").getpixel((4, 4))
    assert red > 200 and green < 60 and blue < 60


def test_sixteen_bits_are_divided_and_not_cut_off():
    image = Image.frombytes("I;16", (4, 1), struct.pack("<4H", 0, 0x4000, 0x8080, 0xFFFF))
    seen = opened(make_safe(saved(image, "PNG")))
    assert list(seen.convert("L").tobytes()) == [0, 63, 128, 255]


def test_a_palette_with_transparency_stays_so():
    image = drawn().quantize(8)
    clear = image.getpixel((290, 5))
    picture = make_safe(saved(image, "PNG", transparency=clear))
    assert picture.kind == "png"
    seen = opened(picture).convert("RGBA")
    assert seen.getpixel((290, 5))[3] == 0
    assert seen.getpixel((60, 100))[3] == 255


def test_transparency_that_nothing_uses_goes():
    assert opened(make_safe(saved(drawn().convert("RGBA"), "PNG"))).mode == "RGB"


def test_a_large_photo_with_transparency_becomes_small(monkeypatch):
    monkeypatch.setattr(pictures, "TOO_MUCH_FOR_PNG", 1000)
    image = photo("RGBA", (90, 80))
    image.putalpha(Image.linear_gradient("L").resize(image.size))
    picture = make_safe(saved(image, "PNG"))
    assert picture.kind == "webp"
    assert opened(picture).mode == "RGBA"


@pytest.mark.parametrize("name", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize(
    ("size", "shown"), [((3200, 800), (1600, 400)), ((900, 2400), (600, 1600)), ((9, 5), (9, 5))]
)
def test_the_longest_side_is_kept_in_bounds(name, size, shown):
    picture = make_safe(saved(photo(size=size), name))
    assert opened(picture).size == shown
    assert max(shown) <= LONGEST_SIDE


@pytest.mark.parametrize("name", ["JPEG", "PNG", "WEBP"])
def test_place_and_camera_go_and_the_turn_is_made(name):
    notes = Image.Exif()
    notes[ORIENTATION] = 6  # to be turned a quarter to the right
    notes[MAKE] = PLACE
    notes.get_ifd(GPS).update({1: "N", 2: (29.0, 7.0, 11.0), 29: PLACE})
    data = saved(photo(), name, exif=notes)
    assert PLACE.encode() in data
    picture = make_safe(data)
    seen = opened(picture)
    assert PLACE.encode() not in picture.data
    assert seen.size == (40, 60)
    # Lightest above before, so on the right now.
    grey = seen.convert("L").resize((2, 2), Image.Resampling.BOX)
    assert min(grey.getpixel((1, 0)), grey.getpixel((1, 1))) > grey.getpixel((0, 0)) + 40


@pytest.mark.filterwarnings("ignore:Corrupt EXIF data")
def test_notes_that_cannot_be_read_do_no_harm():
    data = saved(photo(), "JPEG", exif=b"Exif\0\0II*\0" + b"\xff" * 60)
    assert opened(make_safe(data)).size == (60, 40)


def test_a_colour_profile_is_applied_and_goes():
    """In a profile whose red and blue have changed places, the red of the file is a blue."""
    usual = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    head, tags = usual[:132], usual[132:]
    turned = head + tags.replace(b"rXYZ", b"----").replace(b"bXYZ", b"rXYZ").replace(
        b"----", b"bXYZ"
    )  # fmt: skip
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for profile, seen in (
        (usual, (255, 0, 0)),
        (turned, (0, 0, 255)),
        (lab, (255, 0, 0)),  # not one for red, green and blue
        (b"no profile at all", (255, 0, 0)),
    ):
        picture = make_safe(saved(drawn(), "PNG", icc_profile=profile))
        colour = opened(picture).convert("RGB").getpixel((60, 100))
        assert colour == pytest.approx(seen, abs=3)


def test_comments_go():
    jpeg = saved(photo(), "JPEG", comment=MARK)
    assert MARK in jpeg
    opened(make_safe(jpeg))
    assert MARK not in make_safe(jpeg).data


@pytest.mark.parametrize("name", ["JPEG", "PNG", "WEBP"])
def test_a_second_file_behind_the_first_goes(name):
    for data in (saved(photo(), name) + b"<html>" + MARK, saved(photo(), name) + b"PK\x03\x04"):
        picture = make_safe(data)
        opened(picture)
        assert MARK not in picture.data and b"PK\x03\x04" not in picture.data


def test_a_chunk_of_words_in_a_png_goes():
    data = saved(drawn(), "PNG")
    words = b"tEXt" + b"note\0" + MARK
    chunk = struct.pack(">I", len(words) - 4) + words + struct.pack(">I", zlib.crc32(words))
    assert MARK not in make_safe(data[:33] + chunk + data[33:]).data


@pytest.mark.parametrize("name", ["PNG", "WEBP"])
def test_of_what_moves_the_first_frame_stays(name):
    second = Image.new("RGB", (300, 200), "green")
    data = saved(drawn(), name, save_all=True, append_images=[second], duration=100, lossless=True)
    assert Image.open(BytesIO(data)).n_frames == 2
    assert opened(make_safe(data)).convert("RGB").getpixel((60, 100)) == (255, 0, 0)


def test_of_a_jpeg_with_several_pictures_the_first_stays():
    """Telephones write such files; they begin as any JPEG does."""
    data = saved(photo(), "MPO", save_all=True, append_images=[photo(size=(20, 20))])
    picture = make_safe(data)
    assert picture.kind == "jpeg"
    assert opened(picture).size == (60, 40)


# What is no photo, is broken, or would fill the memory


@pytest.mark.parametrize("name", ["GIF", "BMP", "TIFF", "PDF", "ICO", "TGA", "PPM", "EPS"])
def test_other_kinds_are_refused_whatever_they_are_called(name):
    assert refused(saved(photo(), name)) == "kind"


@pytest.mark.parametrize(
    ("data", "key"),
    [
        (b"", "empty"),
        (b"\x00" * 50, "kind"),
        (b"words", "kind"),
        (b"<html><body>" + MARK + b"</body></html>", "kind"),
        (b"<html><svg></svg></html>", "kind"),
        (b"<?xml version='1.0'?><rss/>", "kind"),
        (b"MZ" + b"\x90" * 100, "kind"),
        (b"RIFF\x10\x00\x00\x00WAVEfmt ", "kind"),
        (b"\xff\xd8\xff", "broken"),
        (b"\x89PNG\r\n\x1a\n", "broken"),
        (b"RIFF\x04\x00\x00\x00WEBP", "broken"),
        (b"\x89PNG\r\n\x1a\n" + saved(photo(), "GIF"), "broken"),
        (b"\xff\xd8\xff" + MARK * 20, "broken"),
        (b"\x89PNG\r\n\x1a\n" + b"\x00" * pictures.MOST_BYTES, "bytes"),
    ],
)
def test_what_is_no_picture_is_refused(data, key):
    assert refused(data) == key


@pytest.mark.parametrize("name", ["JPEG", "PNG", "WEBP"])
def test_a_file_that_ends_too_soon_is_refused(name):
    data = saved(photo(size=(200, 200)), name)
    for share in (0.1, 0.5, 0.9):
        assert refused(data[: int(len(data) * share)]) == "broken"


def png_of_size(width: int, height: int) -> bytes:
    """Return a PNG of a few hundred bytes that says it is so large."""
    data = saved(Image.new("1", (8, 8)), "PNG")
    head = b"IHDR" + struct.pack(">II", width, height) + data[24:29]
    return data[:12] + head + struct.pack(">I", zlib.crc32(head)) + data[33:]


@pytest.mark.parametrize("size", [(5001, 5000), (9000, 10_000), (60_000, 60_000), (2**31 - 1, 1)])
def test_a_small_file_that_says_it_is_huge_is_refused_before_it_is_decoded(size, monkeypatch):
    data = png_of_size(*size)
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda *_: pytest.fail("it was decoded"))
    assert len(data) < 400
    assert refused(data) == "pixels"


def test_a_jpeg_that_says_it_is_huge_is_refused():
    data = bytearray(saved(Image.new("L", (8, 8)), "JPEG"))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", 20_000, 20_000)
    assert refused(bytes(data)) == "pixels"


def test_a_jpeg_that_goes_over_itself_again_and_again_is_refused():
    data = saved(photo(size=(400, 400)), "JPEG", progressive=True)
    scan = data[data.rindex(b"\xff\xda") : -2]
    assert refused(data[:-2] + scan * 200 + b"\xff\xd9") == "broken"


def test_a_film_behind_a_photo_is_not_counted_as_one():
    """Telephones put a short film there; the marker of a scan stands in it by chance."""
    assert make_safe(saved(photo(), "JPEG") + b"\xff\xda\x00\x02" * 200).kind == "jpeg"


# Drawings

GOOD = b"""<?xml version="1.0" encoding="UTF-8"?>
<?program instruction?><!-- a remark -->
<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
  xmlns:editor="https://editor.example/ns" editor:version="3" viewBox="0 0 40 30" width="80mm"
  class="a" data-x="1">
  <metadata><rdf xmlns="https://meta.example/">who drew it</rdf></metadata>
  <editor:guides><editor:line/></editor:guides>
  <title>A drum &amp; its lid</title>
  <defs>
    <linearGradient id="base"><stop offset="0" stop-color="#fff"/></linearGradient>
    <linearGradient id="shade" xlink:href="#base" x1="0" x2="1"/>
    <clipPath id="edge"><rect width="40" height="30"/></clipPath>
    <marker id="tip" orient="auto"><path d="M0 0L4 2L0 4z"/></marker>
  </defs>
  <g style="fill:url(#shade); stroke-width: 2; -editor-note: big; clip-path: url('#edge')">
    <rect x="2" y="2" width="20" height="20" fill="rgb(200, 10, 10)" transform="rotate(3 4 5)"/>
    <path d="M1 1c2-3 4,5 6e-1.5" marker-end="url(#tip)" stroke="url(#shade) black"/>
  </g>
  <text x="3" y="9" font-family="'Open Face', sans-serif">Lid <tspan>off</tspan> &lt;now&gt;</text>
</svg>"""


def svg(inside: str = "", attributes: str = "", before: str = "") -> bytes:
    """Return a small drawing with something in it."""
    return (
        f'{before}<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 30" {attributes}>'
        f'<rect width="9" height="9"/>{inside}</svg>'
    ).encode()


def tree(picture: pictures.Picture) -> ElementTree.Element:
    """Read a safe drawing again: only what may be in one is there."""
    root = ElementTree.fromstring(picture.data)
    assert picture.kind == "svg"
    for element in root.iter():
        assert element.tag.startswith(SVG), element.tag
        assert element.tag.removeprefix(SVG) in safe_svg.ELEMENTS
        for name, value in element.attrib.items():
            assert not name.startswith("on") and name in safe_svg.ATTRIBUTES | {"href"}
            assert not {":", "\\", ";"} & set(value), value
    assert b"<!" not in picture.data and b"<?" not in picture.data
    return root


def test_a_drawing_keeps_what_is_seen_and_loses_the_rest():
    picture = make_safe(GOOD)
    root = tree(picture)
    assert (picture.width, picture.height) == (40, 30)  # the height is not said
    for gone in (b"editor", b"who drew", b"instruction", b"remark", b"data-x", b"style", b"xlink"):
        assert gone not in picture.data
    group = root.find(f"{SVG}g")
    assert group.attrib == {"fill": "url(#shade)", "stroke-width": "2", "clip-path": "url(#edge)"}
    assert group.find(f"{SVG}rect").get("fill") == "rgb(200, 10, 10)"
    assert root.find(f"{SVG}defs")[1].get("href") == "#base"
    assert "".join(root.find(f"{SVG}text").itertext()) == "Lid off <now>"
    assert root.find(f"{SVG}title").text == "A drum & its lid"


def test_made_anew_twice_it_is_the_same():
    once = make_safe(GOOD)
    assert make_safe(once.data) == once


@pytest.mark.parametrize(
    ("attributes", "size"),
    [
        ('width="200" height="100"', (200, 100)),
        ('width="1in" height="2.54cm"', (96, 96)),
        ('width="100%" height="100%"', (40, 30)),
        ('width="9000" height="4500"', (1600, 800)),
    ],
)
def test_the_size_of_a_drawing(attributes, size):
    picture = make_safe(svg(attributes=attributes))
    root = tree(picture)
    assert (picture.width, picture.height) == size
    assert (root.get("width"), root.get("height")) == tuple(map(str, size))
    assert root.get("viewBox") == "0 0 40 30"


@pytest.mark.parametrize(
    "text",
    [
        "<svg xmlns='http://www.w3.org/2000/svg'/>",
        "<svg xmlns='http://www.w3.org/2000/svg' width='0' height='0'/>",
        "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 nan 5'/>",
        "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1e9 5'/>",
        "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 -4 5'/>",
        "<svg xmlns='http://www.w3.org/2000/svg' width='5em' height='4em'/>",
    ],
)
def test_a_drawing_without_a_size_is_refused(text):
    assert refused(text.encode()) == "size"


@pytest.mark.parametrize(
    "text",
    [
        "<svg viewBox='0 0 4 3'><rect/></svg>",  # no namespace: a browser would not show it
        "<s:svg xmlns:s='http://www.w3.org/2000/svg' viewBox='0 0 4 3'><s:rect/></s:svg>",
    ],
)
def test_namespaces_are_made_the_usual_ones(text):
    picture = make_safe(text.encode())
    assert tree(picture).find(f"{SVG}rect") is not None
    assert b'<svg viewBox="0 0 4 3" width="4" height="3" xmlns="http://www.w3.org' in picture.data


REFUSED_ELEMENTS = (
    "<script>alert(1)</script>",
    "<SCRIPT>alert(1)</SCRIPT>",
    "<script href='https://elsewhere.example/a.js'/>",
    "<s:script xmlns:s='http://www.w3.org/2000/svg'>alert(1)</s:script>",
    "<script xmlns=''>alert(1)</script>",
    "<h:script xmlns:h='http://www.w3.org/1999/xhtml'>alert(1)</h:script>",
    "<iframe xmlns='http://www.w3.org/1999/xhtml' src='https://elsewhere.example'/>",
    "<foreignObject><p xmlns='http://www.w3.org/1999/xhtml'>a</p></foreignObject>",
    "<image href='https://elsewhere.example/a.png'/>",
    "<image href='data:image/svg+xml;base64,PHN2Zy8+'/>",
    "<use href='#a'/>",
    "<use xlink:href='https://elsewhere.example/a.svg#a' "
    "xmlns:xlink='http://www.w3.org/1999/xlink'/>",
    "<style>@import 'https://elsewhere.example/a.css';</style>",
    "<style>rect { fill: url(https://elsewhere.example/a) }</style>",
    "<g><g><set attributeName='onclick' to='alert(1)'/></g></g>",
    "<animate attributeName='href' to='javascript:alert(1)'/>",
    "<animateTransform attributeName='transform'/>",
    "<animateMotion/>",
    "<a href='javascript:alert(1)'><rect/></a>",
    "<handler type='text/javascript'>alert(1)</handler>",
    "<listener event='click'/>",
    "<filter id='a'><feImage href='https://elsewhere.example/a.png'/></filter>",
    "<pattern id='a'/>",
    "<mask id='a'/>",
    "<switch/>",
    "<video xmlns='http://www.w3.org/1999/xhtml'/>",
    "<symbol/>",
    "<textPath href='#a'/>",
    "<cursor href='https://elsewhere.example'/>",
)


@pytest.mark.parametrize("inside", REFUSED_ELEMENTS)
def test_an_element_that_runs_fetches_or_refers_is_refused(inside):
    assert refused(svg(inside)) == "element"


REFUSED_ATTRIBUTES = (
    "onload='alert(1)'",
    "ONCLICK='alert(1)'",
    "onbegin='alert(1)'",
    "s:onload='alert(1)' xmlns:s='http://www.w3.org/2000/svg'",
    "href='#a'",
    "href='javascript:alert(1)'",
    "x:href='data:text/html,a' xmlns:x='http://www.w3.org/1999/xlink'",
    "fill='url(https://elsewhere.example/a)'",
    "fill='url(//elsewhere.example/a)'",
    "fill='url(data:image/png,a)'",
    "fill='URL(#a)'",
    "fill='url (#a)'",
    "fill='u\\72l(#a)'",
    "fill='url(#a) url(https://elsewhere.example)'",
    "fill='url(a.svg#a)'",
    "fill='image(a)'",
    "fill='var(--a)'",
    "stroke='expression(alert(1))'",
    "style='fill:url(https://elsewhere.example/a)'",
    "style='background:url(https://elsewhere.example/a)'",
    "style='background:u\\72l(https://elsewhere.example/a)'",
    "style='behavior:url(#a)'",
    "style='@import \"a\"'",
    "style='fill:/**/url(//elsewhere.example)'",
    "clip-path='path(evenodd)'",
    "clip-path='url(https://elsewhere.example/a#b)'",
    "font-family='a;b'",
    "id='a b'",
    "id='&lt;script&gt;'",
    "d='javascript:alert(1)'",
)


@pytest.mark.parametrize("attribute", REFUSED_ATTRIBUTES)
def test_an_attribute_that_runs_fetches_or_refers_is_refused(attribute):
    assert refused(svg(f"<rect {attribute}/>")) == "attribute"


@pytest.mark.parametrize(
    "inside",
    [
        "<linearGradient id='a' href='https://elsewhere.example/a.svg#a'/>",
        "<radialGradient id='a' href='javascript:alert(1)'/>",
        "<linearGradient id='a' href='# a'/>",
        "<marker id='a'><path marker-end='url(#b)'/></marker>",
        "<clipPath id='a' clip-path='url(#b)'/>",
        "<clipPath id='a'><rect style='clip-path:url(#b)'/></clipPath>",
    ],
)
def test_a_reference_elsewhere_or_into_itself_is_refused(inside):
    assert refused(svg(inside)) == "attribute"


LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 9))


@pytest.mark.parametrize(
    "doctype",
    [
        "<!DOCTYPE svg>",
        "<!DOCTYPE svg PUBLIC '-//W3C//DTD SVG 1.1//EN' 'https://elsewhere.example/svg11.dtd'>",
        "<!DOCTYPE svg [<!ENTITY a SYSTEM 'file:///etc/hostname'>]>",
        "<!DOCTYPE svg [<!ENTITY % a SYSTEM 'https://elsewhere.example/a.dtd'> %a;]>",
        f'<!DOCTYPE svg [<!ENTITY l0 "ha">{LAUGHS}]>',
        "<!DOCTYPE svg [<!ATTLIST rect onload CDATA 'alert(1)'>]>",
    ],
)
def test_a_doctype_is_refused_with_all_that_could_be_in_it(doctype):
    assert refused(svg("<text>&l8;</text>", before=doctype)) == "doctype"
    assert refused(svg(before=f"<?xml version='1.0'?><!-- first -->\n{doctype}")) == "doctype"


def test_what_only_looks_like_an_entity_is_refused():
    assert refused(svg("<text>&l8;</text>")) == "broken"


@pytest.mark.parametrize(
    "data",
    [
        svg()[:-3],
        svg("<g>"),
        svg("<rect x='1' x='2'/>"),
        svg("<text>\x00</text>"),
        svg() + b"<svg/>",
        svg() + MARK,
        b"<svg xmlns='http://www.w3.org/2000/svg'><a:rect/></svg>",
        b"<?xml version='1.0' encoding='utf-7'?>" + svg(),
        svg().replace(b"<rect", b"<\xff\xfe"),
    ],
)
def test_a_broken_drawing_is_refused(data):
    assert refused(data) == "broken"


def test_depth_number_and_length_are_bounded():
    assert refused(svg("<g>" * 1000 + "</g>" * 1000)) == "parts"
    assert refused(svg("<x:g xmlns:x='https://a.example'>" * 50 + "</x:g>" * 50)) == "parts"
    assert refused(svg("<g/>" * safe_svg.MOST_ELEMENTS)) == "parts"
    assert refused(svg(f"<marker id='a'>{'<path/>' * 60}</marker>")) == "parts"
    assert refused(svg(f"<!--{' ' * pictures.MOST_SVG_BYTES}-->")) == "bytes"
    assert make_safe(svg("<g>" * 30 + "</g>" * 30 + "<g/>" * 1000)).kind == "svg"


def test_words_stay_words():
    inside = "<text>&lt;script&gt; <![CDATA[<img src=x onerror=alert(1)>]]></text>"
    picture = make_safe(svg(inside))
    words = "".join(tree(picture).find(f"{SVG}text").itertext())
    assert words == "<script> <img src=x onerror=alert(1)>"
    assert b"<img" not in picture.data and b"<script" not in picture.data


def test_words_outside_a_text_go():
    assert b"alert" not in make_safe(svg("alert(1)<g>alert(1)</g>")).data


def test_what_is_left_out_hides_nothing():
    inside = "<metadata><script>alert(1)</script></metadata><e:x xmlns:e='https://e.example'>"
    picture = make_safe(svg(f"{inside}<script xmlns='http://www.w3.org/2000/svg'/></e:x><g/>"))
    assert [one.tag for one in tree(picture)] == [f"{SVG}rect", f"{SVG}g"]


def test_other_encodings_are_read_and_written_as_utf_8():
    text = "<?xml version='1.0' encoding='iso-8859-1'?>" + svg("<title>Máscara</title>").decode()
    assert "Máscara".encode() in make_safe(text.encode("iso-8859-1")).data


# In a page


def test_a_figure_says_what_it_shows_and_breaks_out_of_nothing():
    made = figure("/pictures/12", 300, 200, 'A drum "open"><script>alert(1)</script>')
    (only,) = BeautifulSoup(made, "html.parser").find_all(True, recursive=False)
    assert (only.name, only["class"]) == ("figure", ["picture"])
    (image,) = only.find_all(True)
    assert image.attrs == {
        "src": "/pictures/12",
        "alt": 'A drum "open"><script>alert(1)</script>',
        "width": "300",
        "height": "200",
        "loading": "lazy",
    }
