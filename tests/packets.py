"""A packet asked for and opened again, for tests."""

import json
from dataclasses import dataclass
from datetime import timedelta
from io import BytesIO
from zipfile import ZipFile

import polars
from pypdf import PdfReader

from tests.conftest import Works
from trainer.services import errands, packet
from trainer.store.engine import Store
from trainer.store.tables import Errand, Worksite


@dataclass
class Opened:
    """A packet opened by other libraries than those that made it."""

    data: bytes
    said: dict
    name: str
    top: str

    def __post_init__(self) -> None:
        self.zip = ZipFile(BytesIO(self.data))

    @property
    def names(self) -> list[str]:
        """Return the paths of its files, without the folder they all lie in."""
        return [name.removeprefix(f"{self.top}/") for name in self.zip.namelist()]

    def find(self, part: str) -> str:
        """Return the one path that holds a text."""
        [found] = [name for name in self.zip.namelist() if part in name]
        return found

    def pdf(self, part: str) -> PdfReader:
        """Return a paper, read again."""
        return PdfReader(BytesIO(self.zip.read(self.find(part))))

    def text(self, part: str) -> str:
        """Return the text of a paper, blanks alike."""
        pages = (page.extract_text() for page in self.pdf(part).pages)
        return " ".join(" ".join(pages).replace("\u200b", "").split())

    def rows(self, part: str) -> list[dict]:
        """Return a CSV as polars reads it, every cell text."""
        return polars.read_csv(
            BytesIO(self.zip.read(self.find(part))), infer_schema=False
        ).fill_null("").to_dicts()

    def page(self, part: str) -> str:
        """Return a page of HTML."""
        return self.zip.read(self.find(part)).decode()


def asked(works: Works, place: str = "Laminating Loft", days: int = 60, **more) -> packet.Asked:
    """Return what a packet is asked for, as of now."""
    by = works.scribe("Ida")
    wanted = {
        "first": works.today - timedelta(days=days), "last": works.today, "medical": False,
        "answers": False, "language": "en", "organisation": "Tern Quay Works",
    } | more  # fmt: skip
    with works.store.writing() as db:
        worksite = db.get(Worksite, works.worksites[place].id)
        return packet.settled(db, by, worksite, **wanted)


def made_from(store: Store, of: packet.Asked) -> Opened:
    """Return a packet made from a store without an errand of its row."""
    errand = Errand(
        id=1, kind=packet.KIND, about=json.dumps(of.about), language=of.language, asked_by=1,
        asked_at=of.at, once="", state="asked",
    )  # fmt: skip
    done = packet.make(store, errand, lambda *_: None)
    return Opened(b"".join(done.chunks), done.said, done.file_name, packet.names.TOP(of.language))


def made(works: Works, of: packet.Asked, once: str = "one") -> Opened:
    """Return a packet made as an errand."""
    with works.store.writing() as db:
        number = packet.ask(db, works.scribe("Ida"), of, once).id
    errands.run_all(works.store)
    with works.store.reading() as db:
        errand = db.get(Errand, number)
        assert errand.state == "done", errand.said
        data = b"".join(errands.file_of(db, errand))
        top = packet.names.TOP(of.language)
        return Opened(data, errands.said(errand), errand.file_name, top)
