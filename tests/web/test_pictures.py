"""Pictures of a worksite on its page: brought, refused in plain words, shown, taken off."""

import re
from io import BytesIO

import pytest
from PIL import Image
from werkzeug.datastructures import FileStorage
from werkzeug.test import encode_multipart

PAGE = "/sites/1/pictures"
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 30">'
    '<rect width="9" height="9" fill="red"/>{}</svg>'
)
FORM_BYTES = 256 * 1024


def png(size: tuple[int, int] = (60, 40)) -> bytes:
    """Return a small picture."""
    kept = BytesIO()
    Image.new("RGB", size, "teal").save(kept, "PNG")
    return kept.getvalue()


def bring(person, data: bytes | str, name: str = "a.png", kind: str = "image/png", **words):
    """Send the form with a file, as a browser encodes it."""
    token = re.search(r'name="csrf_token" value="([^"]+)"', person.get("/still-there").text)[1]
    data = data.encode() if isinstance(data, str) else data
    file = FileStorage(BytesIO(data), filename=name, content_type=kind)
    fields = {"csrf_token": token, "picture": file, "en": "A drum of gel coat.", "es": ""} | words
    boundary, body = encode_multipart(fields)
    sent = f"multipart/form-data; boundary={boundary}"
    answer = person.client.post(PAGE, data=body, content_type=sent, follow_redirects=True)
    person.page = answer.text
    return answer


@pytest.fixture
def tomas(browser):
    """Return the trainer of the Laminating Loft."""
    return browser("Tomas")


def text(person) -> str:
    """Return the words of the page, blanks made single."""
    return " ".join(person.soup.find("main").get_text(" ").split())


def fault(person) -> str:
    """Return what the head of the form says."""
    return person.soup.select_one(".faults a").get_text()


def test_a_photo_is_brought_shown_described_and_taken_off(tomas):
    tomas.get("/sites/1")
    assert tomas.soup.select_one(f"a[href='{PAGE}']")
    assert bring(tomas, png()).status_code == 200
    assert "Picture 1 is kept." in tomas.page
    assert "[[picture 1]]" in text(tomas)
    assert "PNG, 60 × 40 pixels, 1 kB" in text(tomas)
    image = tomas.soup.select_one("figure.picture img")
    assert (image["src"], image["alt"]) == ("/pictures/1", "A drum of gel coat.")
    assert (image["width"], image["height"]) == ("60", "40")
    assert "not described yet" in text(tomas)
    tomas.post(f"{PAGE}/1", en="A drum.", es="Un tambor.")
    assert "not described yet" not in text(tomas)
    assert tomas.soup.select_one("span[lang=es]").get_text() == "Un tambor."
    tomas.post(f"{PAGE}/1/end")
    assert "There is no picture yet." in text(tomas)
    # A lesson that shows it still does.
    assert tomas.client.get("/pictures/1").status_code == 200
    assert tomas.post(f"{PAGE}/1/end").status_code == 404


def test_the_alternative_is_in_the_readers_language_where_there_is_one(tomas):
    bring(tomas, png(), en="A drum.", es="Un tambor.")
    bring(tomas, png((30, 30)), en="A tank.")
    tomas.post("/language", language="es", next=PAGE)
    said = [image["alt"] for image in tomas.soup.select("figure.picture img")]
    assert said == ["A tank.", "Un tambor."]


def test_sent_twice_it_is_one_picture(tomas):
    bring(tomas, png())
    bring(tomas, png())
    assert len(tomas.soup.select(".pictured")) == 1


def test_what_a_file_is_called_says_nothing(tomas):
    answer = bring(tomas, png(), name='../../"><script>.svg', kind="text/html")
    assert answer.status_code == 200
    assert "<script>" not in tomas.page and ".svg" not in str(tomas.soup.find("main"))
    shown = tomas.client.get("/pictures/1")
    assert shown.content_type == "image/png"
    assert shown.headers["Content-Disposition"] == 'inline; filename="picture-1.png"'


def test_a_picture_is_served_so_that_nothing_of_it_can_run(tomas):
    bring(tomas, SVG.format("<title>A drum</title>"), "a.svg", "image/svg+xml")
    answer = tomas.client.get("/pictures/1")
    head = answer.headers
    assert head["Content-Type"].startswith("image/svg+xml")
    assert head["X-Content-Type-Options"] == "nosniff"
    assert head["Content-Security-Policy"] == "default-src 'none'; sandbox; frame-ancestors 'none'"
    assert head["Content-Disposition"] == 'inline; filename="picture-1.svg"'
    assert b"A drum" in answer.data


def test_a_tablet_asks_each_time_and_the_next_person_sees_only_their_own(tomas, browser):
    bring(tomas, png())
    first = tomas.client.get("/pictures/1")
    assert first.headers["Cache-Control"] == "private, no-cache"
    held = {"If-None-Match": first.headers["ETag"]}
    again = tomas.client.get("/pictures/1", headers=held)
    assert (again.status_code, again.data) == (304, b"")
    assert browser("Noor").get("/pictures/1", headers=held).status_code == 404
    assert browser().get("/pictures/1", headers=held).status_code == 302
    assert browser("Lee").get("/pictures/1", headers=held).status_code == 304


@pytest.mark.parametrize(
    ("data", "words", "said", "place"),
    [
        (b"", {}, "Choose a file", "picture"),
        (b"GIF89a" + b"0" * 50, {}, "not a picture that can be used", "picture"),
        (SVG.format("<script>alert(1)</script>"), {}, "may not be in one: <script>.", "picture"),
        (SVG.format("<g onload='alert(1)'/>"), {}, "may not be in one: onload.", "picture"),
        (png()[:60], {}, "broken", "picture"),
        (b"\xff\xd8\xff" + b"0" * 9_000_000, {}, "a photo may have 8 MB", "picture"),
        (png(), {"en": " "}, "at least one language", "en-0"),
    ],
)
def test_what_cannot_be_kept_is_said_and_the_words_typed_come_back(tomas, data, words, said, place):
    answer = bring(tomas, data, es="Un tambor." if not words else " ", **words)
    assert answer.status_code == 422
    assert said in fault(tomas)
    assert tomas.soup.select_one(".faults a")["href"] == f"#{place}"
    assert tomas.soup.select_one(f"#{place}")["aria-invalid"] == "true"
    assert "The file has to be chosen again." in text(tomas)
    if not words:
        assert tomas.soup.select_one("#en-0").get_text() == "A drum of gel coat."
        assert tomas.soup.select_one("#es-0").get_text() == "Un tambor."
    assert not tomas.soup.select(".pictured")


def test_what_is_named_in_a_fault_is_shown_as_words(tomas):
    bring(tomas, SVG.format("<g fill='image(&lt;b&gt;)'/>"))
    assert "fill=image(<b>)" in fault(tomas)
    assert not tomas.soup.select(".faults b")


def test_a_description_that_cannot_be_kept_comes_back_at_its_picture(tomas):
    bring(tomas, png())
    assert tomas.post(f"{PAGE}/1", en="", es="").status_code == 422
    assert "at least one language" in fault(tomas)
    assert tomas.soup.select_one("details[open] #en-1")["aria-invalid"] == "true"
    assert tomas.soup.select_one("#en-0").get_text() == ""


def test_far_too_much_gets_a_sentence_too(tomas):
    answer = bring(tomas, b"\xff\xd8\xff" + b"0" * 17_000_000)
    assert answer.status_code == 413
    assert "a photo may have 8 MB, an SVG drawing 1 MB" in text(tomas)


def test_only_this_page_takes_a_file(tomas, browser):
    much = "0" * (FORM_BYTES + 1)
    token = re.search(r'name="csrf_token" value="([^"]+)"', tomas.get(PAGE).text)[1]
    for path in ("/sites/1", f"{PAGE}/1", "/sign-in", "/ask", "/nowhere"):
        answer = tomas.client.post(path, data={"csrf_token": token, "text": much})
        assert answer.status_code == (404 if path == "/nowhere" else 413), path
        assert "a photo may have" not in answer.text
    # A photo is larger than a form may be.
    kept = BytesIO()
    Image.effect_noise((700, 700), 90).save(kept, "PNG")
    assert len(kept.getvalue()) > FORM_BYTES
    assert bring(tomas, kept.getvalue()).status_code == 200
    # Whoever is not signed in sends nothing large, not even there.
    assert bring(browser(), much).status_code == 413


def test_a_picture_of_another_worksite_is_not_changed_from_here(tomas, browser):
    bring(tomas, png())
    wren, ida = browser("Wren"), browser("Ida")
    wren.get("/sites/2/pictures")
    for path in ("/sites/2/pictures/1", "/sites/2/pictures/1/end", f"{PAGE}/1", f"{PAGE}/1/end"):
        assert wren.post(path, en="Nothing.").status_code == 404, path
    ida.get("/sites/2/pictures")
    assert ida.post("/sites/2/pictures/1/end").status_code == 404
    tomas.get(PAGE)
    assert len(tomas.soup.select(".pictured")) == 1
