"""Templates are compiled once for all starts, and never found for another text."""

import sys
from pathlib import Path

import pytest
from jinja2 import DictLoader, Environment

from trainer.web import compiled


@pytest.fixture(autouse=True)
def _may_write(monkeypatch):
    monkeypatch.setattr(sys, "dont_write_bytecode", False)


class Start:
    """A start of the program with one template; it counts what it compiles."""

    def __init__(self, folder: Path, text: str = "{{ 6 * number }} ppm") -> None:
        self.times = 0
        environment = Environment(loader=DictLoader({"one.html": text}), autoescape=True,
                                  bytecode_cache=compiled.Compiled(folder))  # fmt: skip
        real = environment.compile

        def compile_(*given: object, **more: object) -> object:
            self.times += 1
            return real(*given, **more)

        environment.compile = compile_
        self.page = environment.get_template("one.html").render(number=7)


def test_the_next_start_finds_a_template_compiled(tmp_path):
    first, again = Start(tmp_path), Start(tmp_path)
    assert (first.page, first.times) == (again.page, 1) == ("42 ppm", 1)
    assert again.times == 0
    assert len(list(tmp_path.iterdir())) == 1


def test_an_edited_template_is_compiled_anew(tmp_path):
    Start(tmp_path)
    edited = Start(tmp_path, "{{ number }} mg/m³")
    assert (edited.page, edited.times) == ("7 mg/m³", 1)


def test_another_version_of_the_program_compiles_anew(tmp_path, monkeypatch):
    Start(tmp_path)
    monkeypatch.setattr(compiled, "version", lambda _: "another")
    assert Start(tmp_path).times == 1


def test_corrected_words_compile_anew(tmp_path, monkeypatch):
    words, kept = tmp_path / "web" / "translations" / "es.po", tmp_path / "kept"
    words.parent.mkdir(parents=True)
    words.write_text("máscara")
    monkeypatch.setattr(compiled, "_HERE", tmp_path / "web")
    assert [Start(kept).times, Start(kept).times] == [1, 0]
    words.write_text("mascarilla")
    assert Start(kept).times == 1


@pytest.mark.parametrize("left", [0, 20, 60, -1])
def test_a_damaged_file_is_as_if_there_were_none(tmp_path, left):
    Start(tmp_path)
    (file,) = tmp_path.iterdir()
    whole = file.read_bytes()
    file.write_bytes(whole[:left])
    again = Start(tmp_path)
    assert (again.page, again.times, file.read_bytes()) == ("42 ppm", 1, whole)


def test_where_python_writes_no_compiled_files_neither_do_we(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    assert [Start(tmp_path).times, Start(tmp_path).times] == [1, 1]
    assert list(tmp_path.iterdir()) == []


def test_where_nothing_can_be_written_a_page_comes_all_the_same(tmp_path):
    (tmp_path / "file").write_text("a file where the folder would be")
    assert Start(tmp_path / "file" / "folder").page == "42 ppm"


def test_templates_lie_where_python_puts_compiled_modules(settings, store, monkeypatch, tmp_path):
    from trainer.app import create_app

    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path))
    app = create_app(settings, store, "only for tests")
    assert app.test_client().get("/sign-in").status_code == 200
    beside = tmp_path.joinpath(*Path(compiled.__file__).parts[1:-1], "templates")
    assert len(list(beside.iterdir())) >= 3
