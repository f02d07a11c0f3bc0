"""Names of files and folders that every machine takes, sorted as the standard's paragraphs are."""

import re
import unicodedata

from trainer.words import Words

LONGEST = 40

_NOT_TAKEN = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt")
                                             for n in range(10))}  # fmt: skip

FOLDERS = {
    # Titles as 29 CFR 1910.134 gives them, in few words.
    "c": Words("02 (c) Written program", "02 (c) Programa escrito"),
    "d": Words("03 (d) Selection of respirators", "03 (d) Selección de respiradores"),
    "e": Words("04 (e) Medical evaluation", "04 (e) Evaluación médica"),
    "f": Words("05 (f) Fit testing", "05 (f) Pruebas de ajuste"),
    "g": Words("06 (g) Use of respirators", "06 (g) Uso de los respiradores"),
    "h": Words("07 (h) Maintenance and care", "07 (h) Mantenimiento y cuidado"),
    "i": Words("08 (i) Breathing air", "08 (i) Aire respirable"),
    "j": Words("09 (j) Filters and cartridges", "09 (j) Filtros y cartuchos"),
    "k": Words("10 (k) Training", "10 (k) Capacitación"),
    "l": Words("11 (l) Program evaluation", "11 (l) Evaluación del programa"),
    "m": Words("12 (m) Recordkeeping", "12 (m) Registro"),
}
COVER = Words("01 Cover and contents", "01 Portada y contenido")
TOP = Words("Inspection packet", "Expediente de inspección")
PEOPLE = Words("People", "Personas")
LESSONS = Words("Lessons as taught", "Lecciones como se enseñaron")


def safe(text: str) -> str:
    """Return a short name that every machine takes as that of a file: plain letters and digits.

    What is none of these is left out; a name that says nothing any more, or that stands for a
    device on some machines, is "-".

    >>> safe("Ñandú / ..\\\\x: *?"), safe("CON"), safe("🙂"), safe("a.b. ")
    ('Nandu x', '-', '-', 'a.b')
    """
    spread = unicodedata.normalize("NFKD", text)
    kept = re.sub(r"[^A-Za-z0-9._-]+", " ", "".join(
        one for one in spread if not unicodedata.combining(one)
    ))  # fmt: skip
    short = re.sub(r"\s+", " ", kept).strip(" .-")[:LONGEST].strip(" .-")
    short = re.sub(r"\.{2,}", ".", short)
    short = " ".join(part for part in short.split(" ") if part.strip("."))
    return "-" if not short or short.split(".")[0].casefold() in _NOT_TAKEN else short
