"""Every form and every address, filled with what nobody means: no fault of ours, no traceback."""

import re
from io import BytesIO
from itertools import cycle
from urllib.parse import quote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz import HOSTILE, bounded, examples
from tests.fuzz.asked import Heard
from tests.web.test_access import ANY, TABLE, address, places, refused_at_the_door  # noqa: F401

# What ends the session that the walk goes on with.
LEFT_OUT = {"/sign-out"}
# One document is all that comes of it, whatever is asked, and it takes a second.
LEFT_OUT |= {"/booklet-<language>.pdf"}
PARTS = 4
NUMBERS = {"Lee": "00417", "Tomas": "00002", "Ida": "00001"}
WRITTEN = ("<number>", "<slug>", "<section>", "<version>", "<secret>", "<signed>", "<code>",
           "<numbers>", "<question>", "<exercise>", "<name>", "<language>", "<tongue>")  # fmt: skip
"""Parts of addresses that take any text."""


@pytest.fixture
def walkers(browser, places):  # noqa: F811
    """Return who walks a row: those whom the table lets in, each signed in once."""
    opened = {}

    def walker(who: str, which: str):
        name = "Ida"
        if which == "lee" or who == ANY:
            name = "Lee"
        elif which != "ida" and "trainer" in who:
            name = "Tomas"
        if name not in opened:
            opened[name] = browser(name)
        if refused_at_the_door(opened[name].get("/errands")):
            opened[name].sign_in(NUMBERS[name])
        return opened[name]

    return walker


def as_bytes(text: str) -> str:
    """Return a text as it stands in a form, half of a letter too."""
    return quote(text.encode("utf-8", "surrogatepass"), safe="")


def filled(names: list[str], values, sent: dict) -> str:
    """Return a form in which every field that is known says something, some of them twice."""
    pairs = [(name, next(values)) for name in {**dict.fromkeys(names), **sent}]
    pairs += [(name, next(values)) for name in names[::5]]
    return "&".join(f"{as_bytes(name)}={as_bytes(value)}" for name, value in pairs)


def looked_at(answer, what: tuple) -> None:
    """Check that nothing of ours failed."""
    assert answer.status_code < 500, what
    if answer.mimetype.startswith("text/"):
        said = answer.get_data()
        assert b"Traceback (most recent call last)" not in said, what
        assert b"<script>alert(1)</script>" not in said or answer.mimetype != "text/html", what


@pytest.mark.parametrize("part", range(PARTS))
@examples(2)
@given(values=st.lists(HOSTILE, min_size=30, max_size=60))
def test_no_form_and_no_address_makes_a_page_fail(app, walkers, places, part, values):  # noqa: F811
    heard = Heard(app)
    endless = cycle(values)
    for method, template, who, which, sent in TABLE[part::PARTS]:
        if template in LEFT_OUT:
            continue
        walker, path = walkers(who, which), address(template, places)
        client, form = walker.client, "application/x-www-form-urlencoded"
        # Once as the table sends it, so that what is asked for is known; then filled.
        for fields in (None, heard):
            body = "&".join(f"{one}={as_bytes(said)}" for one, said in sent.items())
            if fields:
                body = filled(list(heard.of(app, method, path)), endless, sent)
            what = (method, path, body[:500])
            with bounded(what):
                if method == "GET":
                    answer = client.get(f"{path}?{body}")
                else:
                    if not re.search('name="csrf_token"', walker.page):
                        walker.get("/still-there")
                    token = re.search(r'name="csrf_token" value="([^"]+)"', walker.page)[1]
                    answer = client.post(
                        path, data=f"csrf_token={token}&{body}"[:250_000], content_type=form
                    )
                looked_at(answer, what)
        for word in WRITTEN:
            if word in template and method == "GET":
                odd = quote(next(endless).encode("utf-8", "surrogatepass")[:2_000], safe="")
                odd_path = address(template, {word: odd or "-", **places})
                with bounded(odd_path):
                    looked_at(client.get(odd_path), odd_path)


@examples(4)
@given(
    name=HOSTILE, data=st.binary(max_size=400), kind=HOSTILE,
    headers=st.dictionaries(
        st.sampled_from(["HX-Request", "HX-Request-Type", "Accept", "Accept-Language", "Referer",
                         "If-None-Match", "Range", "X-Forwarded-For", "X-Forwarded-Host", "Origin",
                         "HX-Current-URL", "Cookie"]),
        st.text(st.characters(codec="latin-1", exclude_characters="\r\n"), max_size=60),
    ),
)  # fmt: skip
def test_no_file_and_no_header_makes_a_page_fail(walkers, name, data, kind, headers):
    ida = walkers("coordinator", "")
    for path, field in (("/import", "file"), ("/sites/1/pictures", "picture")):
        ida.get("/still-there")
        token = re.search(r'name="csrf_token" value="([^"]+)"', ida.page)[1]
        name = re.sub(r"[\r\n\0\"]", "", name).encode("utf-8", "replace").decode() or "x"
        with bounded((path, name, data)):
            answer = ida.client.post(
                path, headers=headers if "Cookie" not in headers else {},
                data={"csrf_token": token, "en": "x",
                      "kind": "roster" if len(kind) % 2 else as_bytes(kind),
                      field: (BytesIO(data), name[:200])},
            )  # fmt: skip
            looked_at(answer, (path, name, data, headers))
    for path in ("/sign-in", "/tag", "/nowhere", "/import", "/pictures/1"):
        with bounded((path, headers)):
            looked_at(ida.client.get(path, headers=headers), (path, headers))
