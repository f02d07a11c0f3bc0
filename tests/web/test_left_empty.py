"""Forms sent with something missing: the sentence stands at the field, nothing is lost or made."""

import pytest

FORMS = [
    # a form, what was typed into it, the field that the sentence stands at
    ("/assign", {"reason": "first", "due": "2099-01-01"}, "whom"),
    ("/assign", {"whom": "person", "number": "0", "reason": "first"}, "number"),
    ("/assign", {"whom": "worksite:1", "reason": "first", "due": ""}, "due"),
    ("/assign", {"whom": "worksite:1", "reason": "first", "due": "2099-01-01"}, "lesson"),
    ("/crew/talks", {"day": "2026-11-25", "mode": "read aloud"}, "minutes"),
    ("/crew/talks", {"day": "2026-11-25", "minutes": "45", "tongue": "en"}, "lesson"),
    ("/crew/practices", {}, "worn"),
    ("/codes", {}, "person"),
    ("/sites/1", {"act": "task", "name": " "}, "name"),
]


def deed(browser) -> dict[str, str]:
    """Return the one-time key of the page's form, where it has one."""
    found = browser.soup.select_one("main form[method=post] [name=deed]")
    return {"deed": found["value"]} if found else {}


@pytest.mark.parametrize(("path", "typed", "field"), FORMS)
def test_what_is_missing_is_said_at_its_field(browser, path, typed, field):
    tomas = browser("Tomas")
    tomas.get(path)
    assert not tomas.soup.select(".has-fault")
    answer = tomas.post(path, **({"worksite": "1"} | typed | deed(tomas)))
    assert answer.status_code == 422
    [at] = tomas.soup.select("main .has-fault")
    assert at.select_one(f"[name='{field}']")
    [link] = tomas.soup.select(".faults a")
    assert tomas.soup.select_one(f"main {link['href']}")["name"] == field
    assert at.select_one(".fault").get_text(strip=True) == link.get_text(strip=True)


def test_a_respirator_of_a_task_is_never_added_by_an_empty_form(browser):
    tomas = browser("Tomas")
    tomas.get("/sites/1")
    tomas.post("/sites/1", act="task", name="Rolling gel coat")
    here = "/sites/1/tasks/1/respirator"
    tomas.get(here)
    first = tomas.soup.select_one("#class_slug option")
    answer = tomas.post(
        here, class_slug=first["value"], make="Invented Quillfen", filter_class=""
    )
    assert answer.status_code == 422
    assert tomas.soup.select_one(".has-fault #class_slug")
    assert tomas.soup.select_one("#make")["value"] == "Invented Quillfen"


def test_only_what_may_stay_empty_says_so(browser):
    tomas = browser("Tomas")
    tomas.get("/sites/1")
    tomas.post("/sites/1", act="task", name="Rolling gel coat")
    tomas.get("/sites/1/tasks/1/hazard")
    tomas.post(
        "/sites/1/tasks/1/hazard", substance="toluene", kind="", unit="", limit_kind="TWA"
    )
    tomas.get("/sites/1/hazards/1/sample")
    assert "may stay empty" not in tomas.soup.select_one("main form").get_text()


@pytest.mark.parametrize(("language", "sentence"), [
    ("en", "Choose one of these."), ("es", "Elija una de estas opciones."),
])  # fmt: skip
def test_a_recommendation_left_open_is_said_in_the_readers_language(browser, language, sentence):
    ida = browser("Ida")
    here = "/people/00417/medical"
    ida.get(here)
    ida.post("/language", language=language, next=here)
    ida.get(here)
    ida.post(here, on="2026-11-25", limit="", **deed(ida))
    assert sentence in [one.get_text(strip=True) for one in ida.soup.select(".fault")]
