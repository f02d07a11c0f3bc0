"""Reading aloud: with a voice of the browser's own, sentence by sentence, and not without one.

The browser of a test has no voice, so a stand-in speaks: it keeps what it was given to say and
ends when the test tells it to.
"""

from playwright.sync_api import expect

from tests.browser.conftest import FIRST_LESSON, WORKER, Served, Window, phone
from trainer import lessons

SECTION = lessons.load().all[0].sections[0].id
ADDRESS = f"/lessons/{FIRST_LESSON}/{SECTION}"

VOICES = """
window.said = [];
const voices = VOICES.map(([lang, localService]) => ({ lang, localService, name: lang }));
const speech = {
  getVoices: () => voices,
  cancel() { this.current = null; },
  speak(one) {
    this.current = one;
    window.said.push({ text: one.text, lang: one.lang, rate: one.rate });
  },
  addEventListener() {},
};
window.SpeechSynthesisUtterance = function (text) { this.text = text; };
Object.defineProperty(window, "speechSynthesis", { value: speech });
window.endSentence = () => speech.current?.onend?.();
"""


def with_voices(served: Served, *voices: tuple[str, bool]) -> Window:
    """Open a phone whose browser has these voices: language, and whether it is its own."""
    window = phone(served, WORKER)
    listed = ", ".join(f'["{language}", {str(own).lower()}]' for language, own in voices)
    window.page.add_init_script(VOICES.replace("VOICES", f"[{listed}]"))
    return window


def said(window: Window) -> list[dict]:
    """Return what was given to the voice so far."""
    return window.page.evaluate("window.said")


def act(window: Window, name: str):
    """Return one of the buttons."""
    return window.page.locator(f'[data-aloud-act="{name}"]')


def test_without_a_voice_of_its_own_nothing_is_offered(ready: Served):
    window = with_voices(ready, ("en-US", False), ("fr-FR", True))
    window.open(ADDRESS)
    expect(window.page.locator(".aloud")).to_be_hidden()


def test_it_reads_sentence_by_sentence_and_marks_the_one_it_reads(ready: Served):
    window = with_voices(ready, ("en-GB", True), ("en-US", True))
    window.open(ADDRESS)
    expect(window.page.locator(".aloud")).to_be_visible()
    window.look("aloud")
    act(window, "go").click()
    expect(act(window, "go")).to_have_text("Pause")
    title = lessons.load().all[0].title("en")
    assert said(window) == [{"text": title, "lang": "en-US", "rate": 1}]
    marked = "[...CSS.highlights.get('being-read')].map(String).join()"
    assert window.page.evaluate(marked) == title
    window.page.evaluate("endSentence()")
    assert said(window)[1]["text"] == lessons.load().all[0].sections[0].title("en")
    window.page.evaluate("endSentence()")
    third = said(window)[2]["text"]
    assert window.page.evaluate(marked).strip() == third.strip()
    assert third.count(". ") <= 1, "one sentence at a time"


def test_pause_keeps_the_place_and_a_new_speed_counts_at_once(ready: Served):
    window = with_voices(ready, ("en-US", True))
    window.open(ADDRESS)
    act(window, "go").click()
    window.page.evaluate("endSentence()")
    act(window, "go").click()
    expect(act(window, "go")).to_have_text("Go on reading aloud")
    window.page.evaluate("endSentence()")
    assert len(said(window)) == 2, "nothing is read in a pause"
    act(window, "go").click()
    assert said(window)[2]["text"] == said(window)[1]["text"], "a sentence cut short begins again"
    act(window, "speed").select_option("0.7")
    assert said(window)[3] == said(window)[2] | {"rate": 0.7}
    act(window, "stop").click()
    assert not window.page.evaluate("CSS.highlights.has('being-read')")
    window.page.reload()
    expect(act(window, "speed")).to_have_value("0.7")


def test_a_spanish_page_is_read_by_a_spanish_voice_and_units_are_said_as_words(ready: Served):
    window = with_voices(ready, ("en-US", True), ("es-ES", True), ("es-MX", True))
    window.go("header form[action='/language'] button")
    window.open("/lessons/protection-factors/inside")
    act(window, "go").click()
    for _ in range(200):
        if not window.page.evaluate("Boolean(speechSynthesis.current)"):
            break
        window.page.evaluate("endSentence()")
    everything = " ".join(one["text"] for one in said(window))
    assert {one["lang"] for one in said(window)} == {"es-MX"}
    assert "140 partes por millón  entre  50" in everything
    assert "ppm" not in everything and "÷" not in everything
    expect(window.page.locator("[data-aloud-heard]")).to_have_value("yes")


def test_a_question_is_read_with_its_answers(ready: Served):
    window = with_voices(ready, ("en-US", True))
    for section in lessons.load().all[0].sections:
        window.open(f"/lessons/{FIRST_LESSON}/{section.id}")
        window.go(".onward button")
    window.go("form[action$='/sitting'] button")
    act(window, "go").click()
    for _ in range(20):
        window.page.evaluate("endSentence()")
    ask = window.page.locator("fieldset legend, h1.ask").first.inner_text()
    read = [one["text"].strip() for one in said(window)]
    assert read[0] in ask
    answers = window.page.locator("[data-aloud] label").all_inner_texts()
    assert answers and all(any(line in text.strip() for line in read) for text in answers)
