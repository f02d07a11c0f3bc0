"""A database server that goes away while somebody is at work, and comes back."""

import pytest
from sqlmodel import select

from tests.databases import Cluster
from trainer.store import record
from trainer.store.tables import Person, WorkerQuestion

pytestmark = pytest.mark.parametrize("database", ["postgresql"], indirect=True, scope="session")

WORDS = "¿Va la correa por encima de la capucha?"


def test_what_is_sent_while_the_server_is_away_is_sent_again(browser, works, of_kind: Cluster):
    """The page is in the language of whoever is signed in, though nobody can be looked up."""
    with works.store.writing() as db:
        db.get(Person, works.people["Lee"].id).language = "es"
    lee = browser("Lee")
    lee.get("/ask")
    once = lee.soup.select_one("[name=once]")["value"]
    of_kind.crash()
    answer = lee.post("/ask", text=WORDS, once=once)
    assert answer.status_code == 503
    assert lee.soup.html["lang"] == "es"
    assert lee.soup.h1.get_text(strip=True) == "El registro no responde"
    assert "se guarda una vez y no dos" in lee.soup.select_one(".lead").text
    assert lee.soup.select_one("blockquote").text == WORDS
    fields = {one["name"]: one["value"] for one in lee.soup.select("main form input")}
    away = lee.client.get("/tag")
    assert away.status_code == 503
    assert "No se puede llegar a la base de datos" in away.text
    of_kind.start()
    for _ in range(2):
        assert lee.post("/ask", **fields).status_code == 200
    with works.store.reading() as db:
        assert list(db.exec(select(WorkerQuestion.text))) == [WORDS]
        assert [one for one in record.verify(db) if one] == []
