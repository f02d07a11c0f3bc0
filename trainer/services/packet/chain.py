"""The record itself: entries with their hashes, corrections, retention, and whether it holds.

Paragraph (m) of 29 CFR 1910.134.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from sqlmodel import select

from trainer.reference import retention
from trainer.services import entry_words
from trainer.services.packet.made import Making
from trainer.services.packet.paper import Paper
from trainer.services.packet.persons import NAME, NUMBER, Tables, papers
from trainer.store import record
from trainer.store.tables import Entry
from trainer.words import Words

LOOK_EVERY = 2000

RECORD = Words("1 The record", "1 El registro")
VERIFIED = Words("Does the record hold?", "¿El registro es íntegro?")
HOLDS = Words(
    "Yes. {count} entries, from the first to number {number}, were walked for this packet: each "
    "follows the one before it, and each hash fits what it says.",
    "Sí. Para este expediente se recorrieron {count} entradas, de la primera a la número "
    "{number}: cada una sigue a la anterior, y cada hash corresponde a lo que dice.",
)
BREAKS = Words(
    "No. The chain does not hold at entry {number}: {why}.",
    "No. La cadena se rompe en la entrada {number}: {why}.",
)
EMPTY = Words("There are no entries yet.", "Aún no hay entradas.")
LAST_HASH = Words("Hash of the last entry", "Hash de la última entrada")
AGAIN = Words("How to check it again", "Cómo comprobarlo otra vez")
AGAIN_SAYS = Words(
    "Whoever runs the record can walk it with “donning-room verify-record”; it prints the last "
    "hash. Anybody can check one entry: its hash is the SHA-256 of the canonical JSON (RFC 8785) "
    "of number, once, kind, recorded_at, previous and body_hash, as they stand in entries.csv; "
    "body_hash is the SHA-256 of the salt followed by the body. “previous” is the hash of the "
    "entry before; entries of other people and periods stand between those of this packet.",
    "Quien lleva el registro puede recorrerlo con «donning-room verify-record», que imprime el "
    "último hash. Cualquiera puede comprobar una entrada: su hash es el SHA-256 del JSON canónico "
    "(RFC 8785) de number, once, kind, recorded_at, previous y body_hash, como están en "
    "entries.csv; body_hash es el SHA-256 de la sal seguida del cuerpo. «previous» es el hash de "
    "la entrada anterior; entre las de este expediente hay entradas de otras personas y períodos.",
)
RETENTION = Words("How long it is kept", "Cuánto tiempo se conserva")
RETENTION_HEADS = (
    Words("Record", "Registro"), Words("How long", "Cuánto tiempo"), Words("Source", "Fuente"),
    Words("Seen in its source", "Visto en su fuente"),
)  # fmt: skip
RETENTION_SAYS = Words(
    "The rules on the packet's day, for the worksite's rule set “{rule_set}”. The program erases "
    "nothing by itself, and determinations never; an erasure is an entry, and so is a correction, "
    "which stands beside what it corrects: paper 2.",
    "Las reglas el día del expediente, para el conjunto de reglas «{rule_set}» del sitio. El "
    "programa no borra nada por sí solo, y las determinaciones nunca; borrar es una entrada, y "
    "corregir también: está junto a lo que corrige, documento 2.",
)
SEEN_IN_SOURCE = {
    "part": Words("in part, in a copy", "en parte, en una copia"),
    "memory": Words("no: only from memory, look it up", "no: solo de memoria, consúltelo"),
}
CORRECTIONS = Words("2 Corrections", "2 Correcciones")
CORRECTION_HEADS = (
    NUMBER, NAME, Words("Entry", "Entrada"), Words("What it said", "Lo que decía"),
    Words("What corrects it", "Lo que la corrige"),
)  # fmt: skip
CORRECTIONS_SAY = Words(
    "Entries of this packet that were corrected or struck, with what they said and what they say "
    "now.",
    "Entradas de este expediente que se corrigieron o anularon, con lo que decían y lo que dicen "
    "ahora.",
)
NO_CORRECTIONS = Words("No entry of this packet was corrected.",
                       "Ninguna entrada de este expediente se corrigió.")
CORRECTION_COLUMNS = (
    "worker number", "name", "entry number", "entry kind", "correction number", "recorded at",
    "why", "note", "reads now",
)  # fmt: skip
ENTRY_COLUMNS = (
    "number", "once", "kind", "person_number", "worksite", "happened_on", "recorded_at", "salt",
    "body", "body_hash", "previous", "hash",
)  # fmt: skip


@dataclass(frozen=True)
class Walked:
    """What came of walking the chain up to the packet's last entry."""

    count: int
    last_hash: str
    broken: record.Break | None = None

    @property
    def holds(self) -> bool:
        """Say whether the chain holds."""
        return self.broken is None


def walk(making: Making, step: Callable[[int], None]) -> Walked:
    """Walk the chain up to the packet's last entry."""
    count, number = 0, making.asked.number
    if number:
        for found in record.verify(making.db):
            if found is not None:
                return Walked(count, "", found)
            count += 1
            if count % LOOK_EVERY == 0:
                step(count)
            if count >= number:
                break
    last = making.db.exec(select(Entry.hash).where(Entry.number == number)).first()
    return Walked(count, last or "")


def say_whether_it_holds(paper: Paper, walked: Walked, number: int) -> None:
    """Say on a paper what came of walking the chain."""
    if walked.broken:
        paper.say(BREAKS, number=walked.broken.number, why=walked.broken.why)
    elif not walked.count:
        paper.say(EMPTY)
    else:
        paper.say(HOLDS, count=f"{walked.count:,}", number=number)
        paper.facts([(LAST_HASH, walked.last_hash)])


def write(making: Making, tables: Tables, walked: Walked) -> int:
    """Write the record, its corrections and its entries; return how many entries."""
    paper = making.paper(RECORD)
    paper.head(VERIFIED)
    say_whether_it_holds(paper, walked, making.asked.number)
    paper.head(AGAIN).say(AGAIN_SAYS)
    paper.head(RETENTION).say(RETENTION_SAYS, rule_set=making.worksite.rule_set)
    paper.table(RETENTION_HEADS, _retention(making), (3, 4, 4, 2))
    making.put("m", RECORD, paper, Words(
        "Does it hold, how to check it again, how long it is kept",
        "Si es íntegro, cómo comprobarlo, cuánto se conserva",
    ))  # fmt: skip

    def lay(paper: Paper, rows: list) -> None:
        paper.say(CORRECTIONS_SAY)
        paper.table(CORRECTION_HEADS, [
            [row[0], row[1], str(row[2]), row[9], row[10]] for row in rows
        ], (0, 2, 0, 5, 5), "llrll", NO_CORRECTIONS)  # fmt: skip

    papers(making, "m", CORRECTIONS, tables.corrections, lay, Words(
        "What was corrected, beside what it said", "Lo que se corrigió, junto a lo que decía"
    ), wide=True)  # fmt: skip
    making.rows("m", "corrections", CORRECTION_COLUMNS, (row[:9] for row in tables.corrections))
    return making.rows("m", "entries", ENTRY_COLUMNS, _entries(making, tables.entries), Words(
        "Every entry of this packet with its hashes",
        "Cada entrada de este expediente con sus hashes",
    ))  # fmt: skip


def _retention(making: Making) -> list[list[str]]:
    """Return how long each kind of record is kept, by the rows that hold there on that day."""
    language, day = making.language, making.local(making.asked.at)
    found = []
    for row in retention.rows():
        if row.rule_set not in ("federal", making.worksite.rule_set) or not row.holds(day):
            continue
        seen = SEEN_IN_SOURCE["memory" if not row.decides else "part"](language)
        found.append([
            row.name(language), entry_words.how_long(row, language), row.source, seen,
        ])  # fmt: skip
    return found


def _entries(making: Making, numbers: list[int]) -> Iterator[tuple]:
    """Give the entries of these numbers in order; determinations only with the right."""
    hidden = () if making.asked.medical else record.MEDICAL_KINDS
    ordered = sorted(set(numbers))
    for at in range(0, len(ordered), 500):
        query = select(Entry).where(Entry.number.in_(ordered[at : at + 500]))
        for entry in making.db.exec(query.order_by(Entry.number)):
            if entry.kind not in hidden:
                yield tuple(
                    one.isoformat() if hasattr(one, "isoformat") else one
                    for one in (getattr(entry, name) for name in ENTRY_COLUMNS)
                )
            making.db.expunge(entry)


