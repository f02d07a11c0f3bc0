"""What a page weighs on its way to a telephone, counted in the bytes of its answers."""

import gzip
import re

from trainer import lessons

KB = 1000
FIRST, LATER = 120 * KB, 25 * KB
"""A first visit to a lesson, with drawings and type; and every page after it."""

SECTIONS = [(one.slug, part.id) for one in lessons.load().all for part in one.sections]
SMALL = {"Accept-Encoding": "gzip"}


def weight(browser, path: str) -> int:
    """Return the bytes that an answer has where the browser takes it made small."""
    with browser.client.get(path, headers=SMALL) as answer:
        assert answer.status_code == 200, path
        return len(answer.data) + len(str(answer.headers))


def page(browser, path: str) -> str:
    """Return a page as it reads."""
    with browser.client.get(path) as answer:
        return answer.text


def beside(text: str) -> set[str]:
    """Return the addresses of all that a browser asks for with a page, type aside."""
    return set(re.findall(r'<(?:link|script|img)\b[^>]*?\b(?:href|src)="([^"]+)"', text))


def type_of(browser) -> set[str]:
    """Return the addresses of the type of western languages, upright and slanted."""
    sheet = page(browser, next(one for one in beside(page(browser, "/tag")) if "ground" in one))
    named = re.findall(r"url\((fonts/[^)]+)\)", sheet)
    return {f"/static/{one}" for one in named if "-latin-wght" in one}


def test_every_section_is_light(browser):
    lee = browser("Lee")
    heavy = {
        part: size for part in SECTIONS
        if (size := weight(lee, "/lessons/{}/{}".format(*part))) > LATER
    }
    assert len(SECTIONS) > 50
    assert heavy == {}


def test_the_other_pages_of_a_worker_are_light(browser):
    lee = browser("Lee")
    slug = SECTIONS[0][0]
    for path in ("/tag", f"/lessons/{slug}", "/my-record", "/exercises", "/worksheet"):
        assert weight(lee, path) <= LATER, path


def test_a_first_visit_to_the_heaviest_section_is_light(browser):
    lee = browser("Lee")
    sizes = {part: weight(lee, "/lessons/{}/{}".format(*part)) for part in SECTIONS}
    heaviest = max(sizes, key=sizes.get)
    files = beside(page(lee, "/lessons/{}/{}".format(*heaviest)))
    whole = sizes[heaviest] + sum(weight(lee, one) for one in files)
    assert len(files) >= 10
    # The type of the text is among them, by the address that the sheet asks for it: once.
    upright, slanted = sorted(type_of(lee), key=lambda one: "italic" in one)
    assert upright in files and slanted not in files
    assert whole + weight(lee, slanted) <= FIRST


def test_no_other_host_is_asked(browser):
    lee = browser("Lee")
    for part in SECTIONS:
        text = page(lee, "/lessons/{}/{}".format(*part))
        asked = beside(text) | set(re.findall(r"url\(['\"]?([^'\")]+)", text))
        assert {one for one in asked if not one.startswith(("/static/", "#"))} == set(), part
    sheets = [one for one in beside(page(lee, "/tag")) if ".css" in one]
    for sheet in sheets:
        named = re.findall(r"(?:url\(|@import\s*)['\"]?([^'\")]+)", page(lee, sheet))
        assert [one for one in named if not one.startswith(("fonts/", "data:"))] == [], sheet


def test_what_is_made_small_reads_the_same(browser):
    lee = browser("Lee")
    for path in ("/sign-in", *beside(page(lee, "/tag"))):
        asked = lee.client.get(path, headers=SMALL), lee.client.get(path)
        with asked[0] as small, asked[1] as plain:
            assert "Content-Encoding" not in plain.headers
            if "woff2" in path:  # small as it is
                assert "Content-Encoding" not in small.headers
                continue
            assert small.headers["Content-Encoding"] == "gzip" or len(plain.data) < 500, path
            assert "Accept-Encoding" in small.headers["Vary"]
            if "/static/" in path:
                assert gzip.decompress(small.data) == plain.data
                assert small.headers["ETag"] != plain.headers["ETag"]


def test_a_page_made_small_is_of_another_length_each_time(browser):
    nobody = browser()
    sizes = {len(nobody.client.get("/sign-in", headers=SMALL).data) for _ in range(12)}
    assert len(sizes) > 4


def test_a_file_that_is_not_there_is_said_small_too(browser):
    with browser().client.get("/static/nothing.css", headers=SMALL) as answer:
        assert answer.status_code == 404
        assert b"There is no such page" in gzip.decompress(answer.data)
