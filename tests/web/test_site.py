"""Describing a worksite on its pages: from nothing to a check that says what is enough."""

import pytest

SITE = "/sites/1"


@pytest.fixture
def tomas(browser, works):
    """Return the trainer of the Laminating Loft, on its page, with a task there."""
    opened = browser("Tomas")
    opened.get(SITE)
    opened.post(SITE, act="task", name="Rolling gel coat")
    return opened


def add(trainer, what: str, **fields):
    """Send one of the forms of the first task."""
    trainer.get(f"{SITE}/tasks/1/{what}")
    return trainer.post(f"{SITE}/tasks/1/{what}", **fields)


def hazard(trainer, **more):
    """Add toluene, or something else."""
    fields = {"substance": "toluene", "kind": "", "unit": "", "limit_kind": "TWA"}
    return add(trainer, "hazard", **(fields | more))


def measure(trainer, **fields):
    """Enter a sample of the first hazard."""
    trainer.get(f"{SITE}/hazards/1/sample")
    return trainer.post(f"{SITE}/hazards/1/sample", **fields)


def mask(trainer, **more):
    """Add a full facepiece with organic vapor cartridges."""
    fields = {
        "class_slug": "apr-full", "make": "Invented Quillfen", "model": "Full 9",
        "filter_class": "", "cartridge": "organic vapor", "serves": "y",
        "cartridge_limit": "1,000", "schedule_hours": "6", "schedule_basis": "tests of this year",
    }  # fmt: skip
    return add(trainer, "respirator", **(fields | more))


def text(trainer) -> str:
    """Return the words of the page, blanks made single."""
    return " ".join(trainer.soup.find("main").get_text(" ").split())


def test_from_nothing_to_enough_with_how_much_to_spare(tomas, works):
    hazard(tomas)
    assert "no concentration entered: counts here as unknown, like IDLH" in text(tomas)
    measure(tomas, on=works.today.isoformat(), hours="8", concentration="250")
    mask(tomas)
    said = text(tomas)
    assert "Enough against Toluene: what is outside could be 2 times as much" in said
    assert "limit 200 ppm" in said and "allowed up to 500 ppm" in said
    assert tomas.soup.select_one(".scale svg title")


def test_not_enough_says_why_and_whom_it_concerns(tomas, works):
    hazard(tomas)
    measure(tomas, on=works.today.isoformat(), hours="8", concentration="250")
    mask(tomas, class_slug="apr-half", make="", model="")
    said = text(tomas)
    assert "Not enough against Toluene" in said
    assert "irritates the eyes" in said
    assert "1 person here wears one like it." in said
    link = tomas.soup.select_one("a[href^='/assign?person=00417']")
    assert "reason=changed-workplace" in link["href"]
    tomas.get("/sites")
    assert "1 check says: not enough" in text(tomas)


@pytest.mark.parametrize(("typed", "kept"), [("2,5", "2.5 ppm"), ("1/4", "0.25 ppm")])
def test_a_number_may_be_typed_as_people_write_it(tomas, works, typed, kept):
    hazard(tomas)
    measure(tomas, on=works.today.isoformat(), hours="8", concentration=typed)
    assert kept in text(tomas)


@pytest.mark.parametrize(("fields", "says"), [
    ({"hours": "many", "concentration": "5"}, "must be a number"),
    ({"hours": "30", "concentration": "5"}, "Hours are above 0 and at most 24."),
    ({"hours": "8", "concentration": ""}, "must be filled in"),
])  # fmt: skip
def test_a_sample_that_cannot_be_is_explained_and_stays_typed(tomas, works, fields, says):
    hazard(tomas)
    answer = measure(tomas, on=works.today.isoformat(), **fields)
    assert answer.status_code == 422
    assert says in text(tomas)
    assert tomas.soup.find(id="hours")["value"] == fields["hours"]


def test_a_limit_of_ones_own_without_its_source_is_explained(tomas):
    answer = hazard(tomas, limit="50")
    assert answer.status_code == 422
    assert "Say where the limit comes from" in text(tomas)


def test_a_task_named_twice_is_explained(tomas):
    answer = tomas.post(SITE, act="task", name="rolling GEL coat")
    assert answer.status_code == 422
    assert "no other task of this worksite has" in text(tomas)


def test_what_is_taken_off_is_gone_from_the_page(tomas, works):
    hazard(tomas)
    measure(tomas, on=works.today.isoformat(), hours="8", concentration="250")
    tomas.post(f"{SITE}/end", kind="sample", row="1")
    assert "no concentration entered: counts here as unknown, like IDLH" in text(tomas)
    tomas.post(f"{SITE}/end", kind="task", row="1")
    assert "Rolling gel coat" not in text(tomas)


def test_emergency_steps_and_storage_are_kept(tomas):
    steps = "Out by the east door.\nCall 555-0142."
    tomas.post(SITE, act="about", emergency=steps, storage="Bin 3")
    assert "Out by the east door." in tomas.soup.find(id="emergency").get_text()
    assert tomas.soup.find(id="storage")["value"] == "Bin 3"


def test_nobody_reaches_a_row_of_another_worksite(browser, tomas, works):
    hazard(tomas)
    wren = browser("Wren")
    wren.get("/sites/2")
    assert wren.post("/sites/2/end", follow=False, kind="hazard", row="1").status_code == 404
    assert wren.get("/sites/2/tasks/1/hazard").status_code == 404
    assert wren.get("/sites/2/hazards/1/sample").status_code == 404
    assert wren.get(SITE).status_code == 404


def test_what_a_new_sample_leaves_too_weak_is_told_at_once_with_its_people(tomas, works):
    hazard(tomas)
    measure(tomas, on=works.today.isoformat(), hours="8", concentration="250")
    mask(tomas, class_slug="apr-half", make="", model="", eye_protection="y")
    add(tomas, "respirator", class_slug="apr-full")
    measure(tomas, on=works.today.isoformat(), hours="8", concentration="2,400")
    told = " ".join(tomas.soup.select_one("#status").get_text(" ").split())
    assert "Not enough any more" in told
    # Lee wears a half mask, of whatever make.
    assert "1 person here wears one like it" in told
    measure(tomas, on=works.today.isoformat(), hours="8", concentration="2,500")
    assert "Not enough any more" not in tomas.soup.select_one("#status").get_text(" ")


def test_a_sample_typed_in_the_other_unit_shows_both(tomas, works):
    hazard(tomas)
    measure(tomas, on=works.today.isoformat(), hours="8", concentration="377", unit="mg/m³")
    assert "100 ppm (measured as 377 mg/m³), 8 h" in text(tomas)


def test_whom_to_ask_is_kept_and_an_empty_telephone_is_refused(tomas):
    tomas.get(SITE)
    said = tomas.post(SITE, act="ask", ask_name="Suri Vane", ask_place="Gate", ask_telephone="")
    assert said.status_code == 422
    field = tomas.soup.select_one("#ask_name")
    assert field["value"] == "Suri Vane"
    assert "telephone" in tomas.soup.select_one(".faults").get_text()
    tomas.post(SITE, act="ask", ask_name="Suri Vane", ask_telephone="555 0199", ask_hours="6 to 2")
    assert "Suri Vane" in tomas.soup.select_one("footer .ask").get_text()
