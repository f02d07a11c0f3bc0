"""A character that no database of ours must meet is refused at the door, on either database."""

import pytest

pytestmark = pytest.mark.both_databases


@pytest.mark.parametrize("path", ["/sign-in?next=%00", "/le%00ssons", "/sign-in?%00=1"])
def test_an_address_with_the_character_nul_is_refused(browser, path):
    answer = browser().get(path)
    assert answer.status_code == 400
    assert "That did not work" in answer.text


def test_a_form_with_the_character_nul_is_refused_and_one_without_is_taken(browser):
    lee = browser("Lee")
    lee.get("/ask")
    sent = {"text": "Where are the\0 filters?", "once": "1"}
    assert lee.post("/ask", **sent).status_code == 400
    lee.get("/ask")
    assert lee.post("/ask", **(sent | {"text": "Where are the filters?"})).status_code == 200


def test_a_number_larger_than_any_names_no_page(browser):
    ida = browser("Ida")
    for number in (2**31, 2**63, 10**30):
        assert ida.get(f"/people/{number}").status_code == 404
