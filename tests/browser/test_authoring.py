"""A lesson of the worksite, written in a browser: saved by itself, by two at once, and harmless."""

import json
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESKTOP, WORKER, WORKSITE, ZONE, Served, Window, phone
from tests.site_lessons import question
from trainer.lessons.written import Text
from trainer.services import authoring, joining
from trainer.services.scribe import Scribe
from trainer.store import people, site_lessons
from trainer.store.tables import SiteQuestion

STATE = "[data-writing-state]"

HOSTILE = """## <script>window.ran=1</script> Title {#why}
<script>window.ran=1</script>
<img src=x onerror="window.ran=1">
<svg onload="window.ran=1"><script>window.ran=1</script></svg>
<svg><a xlink:href="javascript:window.ran=1"><text y=20>press</text></a></svg>
<math><mtext><table><mglyph><style><img src=x onerror="window.ran=1">
<iframe srcdoc="<script>parent.ran=1</script>"></iframe>
<a href="javascript:window.ran=1">press</a>
[press](javascript:window.ran=1)
[press](JaVaScRiPt:window.ran=1)
[press](java&#10;script:window.ran=1)
[press](&#106;avascript:window.ran=1)
[press](data:text/html;base64,PHNjcmlwdD5hbGVydCgxKTwvc2NyaXB0Pg==)
[press](vbscript:window.ran=1)
![x](javascript:window.ran=1)
![x](x" onerror="window.ran=1)
![x](data:image/svg+xml,<svg/onload=window.ran=1>)
<javascript:window.ran=1>
<https://example.org/"onmouseover="window.ran=1>
[x]: javascript:window.ran=1 "title"
[press][x]
**<b onclick=window.ran=1>bold**
`<script>window.ran=1</script>`
{: onclick="window.ran=1"}

A paragraph.
{: onclick="window.ran=1" style="position:fixed" id="main" hx-get="/sign-out" data-insert="x"}

| a | b |
|---|---|
| <img src=x onerror=window.ran=1> | {{7*7}} |

!!! must" onclick="window.ran=1 "Must know"
    <details open ontoggle=window.ran=1>

!!! must "<img src=x onerror=window.ran=1>"
    Text

[[picture 1]]
[[picture "><script>window.ran=1</script>]]
[[site "><img src=x onerror=window.ran=1>]]
[[write <img src=x onerror=window.ran=1>]]
[[exercise <svg/onload=window.ran=1>]]
</textarea><script>window.ran=1</script>
</article></main><script>window.ran=1</script>
<form action="https://example.org"><input name=csrf_token><button>press
<base href="https://example.org/">
<meta http-equiv="refresh" content="0;url=https://example.org/">
<link rel=stylesheet href="https://example.org/x.css">
<style>body{display:none}</style>
<object data="javascript:window.ran=1"></object><embed src="javascript:window.ran=1">
%3Cscript%3Ewindow.ran=1%3C/script%3E &lt;script&gt;window.ran=1&lt;/script&gt;
"""


def editor(window: Window) -> Page:
    """Begin a lesson of the first worksite in English, and return its page."""
    window.open("/sites/1/lessons")
    window.go("button[name=language][value=en]")
    return window.page


def another_trainer(ready: Served) -> Window:
    """Return the phone of a second trainer of the worksite."""
    with ready.store.writing() as db:
        place = people.worksite_named(db, WORKSITE)
        joining.add_person(
            db, datetime.now(UTC), number="3", name="Suri Vane", roles=["trainer"],
            worksites=[place.id], qualification="Safety officer",
        )  # fmt: skip
    return phone(ready, "3")


def add(page: Page, words: str) -> None:
    """Type at the end of the text."""
    page.locator("#text").press("Control+End")
    page.keyboard.type(f"\n{words}")


def draft(ready: Served) -> str:
    """Return the English draft of the first lesson as it is kept."""
    with ready.store.reading() as db:
        return site_lessons.drafts(db, 1)["en"].text


def saved(ready: Served, page: Page, end: str) -> None:
    """Wait until the draft ends so, and the page says that it is saved."""
    for _ in range(120):
        if draft(ready).endswith(end):
            break
        page.wait_for_timeout(250)
    assert draft(ready).endswith(end)
    expect(page.locator(STATE)).to_contain_text("Saved")


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_it_saves_by_itself_and_shows_what_the_reader_will_see(ready: Served, size: str):
    odell = phone(ready, "2")
    if size == "desktop":
        odell.page.set_viewport_size(DESKTOP)
    page = editor(odell)
    add(page, "The fan is **loud**.")
    expect(page.locator("#preview strong").last).to_have_text("loud")
    expect(page.locator(STATE)).to_contain_text("Saved")
    page.locator(".inserts summary").click()
    page.locator("[data-insert='[[site emergency]]']").click()
    saved(ready, page, "The fan is **loud**.\n\n[[site emergency]]\n\n")
    odell.look(f"inserted-{size}")


def test_what_is_typed_last_is_saved_as_the_page_is_left(ready: Served):
    odell = phone(ready, "2")
    page = editor(odell)
    add(page, "Typed last.")
    odell.open("/sites")
    for _ in range(120):
        if not draft(ready).endswith("Typed last."):
            page.wait_for_timeout(250)
    assert draft(ready).endswith("Typed last.")


def test_without_an_answer_the_text_stays_in_the_page_and_nowhere_else(ready: Served):
    odell = phone(ready, "2")
    page = editor(odell)
    # A connection that drops: what is sent gets no answer.
    page.route("**/write/en", lambda route: route.abort())
    add(page, "Nobody answers.")
    expect(page.locator(STATE)).to_contain_text("Not saved")
    assert "Nobody answers." in page.locator("#text").input_value()
    assert "Nobody answers." not in draft(ready)
    stored = page.evaluate("JSON.stringify([{...localStorage}, {...sessionStorage}])")
    assert "Nobody" not in stored
    ready.faults.clear()  # the browser says that it had no answer
    page.unroute("**/write/en")
    saved(ready, page, "Nobody answers.")


def test_signed_out_in_between_the_text_stays_and_is_saved_after_signing_in(ready: Served):
    odell = phone(ready, "2")
    page = editor(odell)
    other = page.context.new_page()
    other.goto(f"{ready.base}/sites")
    with other.expect_event("load"):
        other.locator("header form[action='/sign-out'] button").click()
    add(page, "After the end.")
    expect(page.locator(STATE)).to_contain_text("signed out")
    assert "After the end." in page.locator("#text").input_value()
    other.goto(f"{ready.base}/sign-in")
    other.fill("#number", "2")
    other.fill("#pin", "271828")
    with other.expect_event("load"):
        other.locator("main form button").click()
    saved(ready, page, "After the end.")


def test_two_who_write_at_once_are_told_and_nothing_is_overwritten(ready: Served):
    odell, vane = phone(ready, "2"), another_trainer(ready)
    mine = editor(odell)
    vane.open(mine.url.removeprefix(ready.base))
    theirs = vane.page
    add(mine, "By Odell.")
    saved(ready, mine, "By Odell.")
    add(theirs, "By Vane.")
    expect(theirs.locator(STATE)).to_contain_text("Ravi Odell saved this text")
    vane.look("told")
    add(mine, "More by Odell.")
    expect(mine.locator(f"{STATE} a")).to_have_text("Look at both")
    assert draft(ready).endswith("By Odell.\nMore by Odell.")
    vane.go(f"{STATE} a")
    expect(theirs.locator(".changes .in")).to_contain_text("By Vane.")
    vane.go("button[value=put]")
    assert draft(ready).endswith("By Vane.")
    with ready.store.reading() as db:
        kept = [one.text for one in site_lessons.asides(db, 1)]
    assert kept[0].endswith("By Odell.\nMore by Odell.")


def test_nothing_of_a_hostile_text_runs(ready: Served):
    odell = phone(ready, "2")
    page = editor(odell)
    alarms = []
    page.on("dialog", lambda dialog: (alarms.append(dialog.message), dialog.dismiss()))
    page.add_init_script(
        "document.addEventListener('securitypolicyviolation', (e) => window.broke = e.blockedURI)"
    )
    page.fill("#text", HOSTILE)
    expect(page.locator("#preview .must")).to_have_count(1)
    look_harmless(page, ".preview")
    with page.expect_event("load"):
        page.locator("form[data-writing] .button").click()
    odell.open("/sites/1/lessons/1/write/en")
    assert page.locator("#text").input_value() == HOSTILE
    look_harmless(page, ".preview")
    look_harmless(page, "body")
    odell.open("/sites/1/lessons/1")
    look_harmless(page, "main")
    assert alarms == []


def look_harmless(page: Page, where: str) -> None:
    """Check that nothing ran, was blocked in the attempt, or waits for a touch."""
    page.wait_for_timeout(300)
    assert page.evaluate("[window.ran, window.broke]") == [None, None]
    root = page.locator(where).first
    if where == ".preview":
        tags = "script, style, iframe, object, embed, svg, math, form, input, img, base, meta, link"
        assert root.locator(tags).count() == 0
        assert root.locator("[id], [style], [class*=htmx]").count() == 0
    strange = root.evaluate(
        """root => [...root.querySelectorAll("*")].flatMap((one) => [...one.attributes]
            .filter((a) => /^on/i.test(a.name) || /^\\s*(javascript|data|vbscript):/i.test(a.value))
            .map((a) => a.name + "=" + a.value))"""
    )
    assert strange == []
    for link in root.locator("a", has_text="press").all():
        link.click(no_wait_after=True, force=True)
    assert page.evaluate("window.ran") is None


def test_a_text_too_long_to_be_sent_as_the_page_goes_is_not_left_by_mistake(ready: Served):
    odell = phone(ready, "2")
    page = editor(odell)
    asked = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    page.locator("#text").click()  # a page that nobody touched asks nothing
    page.fill("#text", "## Long\n" + "ñandú " * 9_900)
    page.evaluate("location.href = '/sites'")
    for _ in range(120):
        if asked and len(draft(ready)) > 50_000:
            break
        page.wait_for_timeout(250)
    assert asked == ["beforeunload"]
    assert len(draft(ready)) > 50_000
    assert page.locator("#text").input_value().startswith("## Long")


def test_the_button_leaves_no_page_whose_text_is_not_saved(ready: Served):
    odell = phone(ready, "2")
    page = editor(odell)
    other = page.context.new_page()
    other.goto(f"{ready.base}/sites")
    with other.expect_event("load"):
        other.locator("header form[action='/sign-out'] button").click()
    add(page, "Pressed too early.")
    page.locator("form[data-writing] .button").click()
    expect(page.locator(STATE)).to_contain_text("signed out")
    assert "Pressed too early." in page.locator("#text").input_value()
    other.goto(f"{ready.base}/sign-in")
    other.fill("#number", "2")
    other.fill("#pin", "271828")
    with other.expect_event("load"):
        other.locator("main form button").click()
    saved(ready, page, "Pressed too early.")
    with page.expect_event("load"):
        page.locator("form[data-writing] .button").click()
    assert page.url.endswith("/sites/1/lessons/1")


def test_nothing_of_a_hostile_lesson_runs_for_its_reader(ready: Served):
    kept = [line for line in HOSTILE.splitlines() if not line.startswith("[[")]
    text = "\n".join(kept).replace("<script>window.ran=1</script> Title", "<b onclick=x>Title</b>")
    now = datetime.now(UTC)
    with ready.store.writing() as db:
        by = Scribe(people.by_number(db, "2"), now, ZONE)
        lesson = authoring.begin(db, by, people.worksite_named(db, WORKSITE), "en")
        hostile = Text("<img src=x onerror=window.ran=1>", "<script>window.ran=1</script>", text)
        authoring.save(db, by, lesson, "en", hostile, since=1, page="p", turn=1)
        for n in range(3):
            raw = question(n, must=n == 0)
            raw["ask"]["en"] += " <img src=x onerror=window.ran=1>"
            raw["option"][0]["why"]["en"] += " <svg onload=window.ran=1>"
            db.add(SiteQuestion(lesson_id=lesson.id, content=json.dumps(raw), saved_at=now,
                                saved_by=by.person.id))  # fmt: skip
        db.flush()
        authoring.publish(db, by, lesson)
    imara = phone(ready, WORKER)
    page = imara.page
    page.add_init_script(
        "document.addEventListener('securitypolicyviolation', (e) => window.broke = e.blockedURI)"
    )
    for path in ("/tag", "/lessons/site-1", "/lessons/site-1/why"):
        imara.open(path)
        look_harmless(page, "main")
    assert page.locator("article.lesson .must").count() == 1
    imara.go(".onward button")
    imara.go("form[action='/lessons/site-1/sitting'] button")
    look_harmless(page, "main")
    assert "<img src=x" in page.locator("h1.ask, legend h1, .ask").first.inner_text()
