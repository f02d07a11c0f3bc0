"""Coordinators see when the record was kept safe last, and up to where."""

from pathlib import Path

from tests.services.test_safekeeping import append, quiet
from trainer.services import safekeeping


def test_the_page_and_the_log_tell_of_the_last_backup(browser, works, tmp_path: Path):
    ida = browser("Ida")
    assert "This record knows of none" in ida.get("/witness").text
    append(works.store, "an entry")
    note, noted = safekeeping.backup(works.store, tmp_path / "kept", tmp_path, quiet)
    assert noted
    append(works.store, "and another")
    page = ida.get("/witness").text
    assert page.count(note.last_hash[:8]) == 1
    assert "This record knows of none" not in page
    log = ida.get("/log?kind=backup").text
    assert "Backup: made" in log and note.last_hash in log
    ida.get("/log?kind=backup", headers={"Accept-Language": "es"})
    assert note.made_at[:10] in ida.page


def test_the_log_says_it_in_spanish(browser, works, tmp_path: Path):
    safekeeping.backup(works.store, tmp_path / "kept", tmp_path, quiet)
    ida = browser("Ida")
    ida.post("/language", language="es")
    assert "Copia de seguridad: hecha" in ida.get("/log").text
    assert "La última copia de seguridad" in ida.get("/witness").text
