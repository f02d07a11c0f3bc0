"""Which column of a file is which field: known by its name in English or Spanish, and corrected
by a person."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from trainer.services.reading_tables import Line, name_of
from trainer.services.refusal import Refusal
from trainer.words import Words

KINDS = ("roster", "training", "fit-tests", "medical")
"""What a file may be about: people, or a past record of training, fit tests or determinations."""


@dataclass(frozen=True)
class Field:
    """Something that a column may hold.

    words   what it is called, and the name of its column in our own template
    names   what it is also called at the head of columns, in either language
    needed  a file without it is not taken
    """

    slug: str
    words: Words
    names: tuple[str, ...] = ()
    needed: bool = False


NUMBER = Field("number", Words("Worker number", "Número de trabajador"), (
    "number", "no", "worker no", "worker id", "id", "badge", "badge number", "badge no",
    "employee number", "employee no", "employee id", "personnel number", "personnel no",
    "person number", "número", "núm", "nro", "núm de trabajador", "no de trabajador",
    "número de empleado", "núm de empleado", "no de empleado", "número de personal", "legajo",
    "clave", "gafete", "número de gafete", "id de empleado", "id de trabajador",
), needed=True)  # fmt: skip
NAME = Field("name", Words("Name", "Nombre"), (
    "full name", "worker", "worker name", "employee", "employee name", "person",
    "nombre completo", "nombre y apellido", "nombre y apellidos", "trabajador", "empleado",
    "nombre del trabajador", "nombre del empleado",
))  # fmt: skip
CLASS = Field("class", Words("Respirator class", "Clase de respirador"), (
    "class", "respirator", "respirator type", "type of respirator", "clase", "respirador",
    "tipo de respirador",
))  # fmt: skip
MADE = (
    Field("make", Words("Make", "Marca"), ("respirator make", "manufacturer", "brand",
          "marca del respirador", "fabricante")),
    Field("model", Words("Model", "Modelo"), ("respirator model", "modelo del respirador")),
    Field("style", Words("Style", "Estilo"), ("respirator style", "estilo del respirador")),
    Field("size", Words("Size", "Talla"), ("respirator size", "tamaño", "talla del respirador")),
)  # fmt: skip
ON = Field("on", Words("Date", "Fecha"), (
    "day", "completed", "completed on", "date completed", "done on", "tested on", "test date",
    "date of test", "training date", "date of training", "evaluated on", "evaluation date",
    "happened on", "día", "fecha de prueba", "fecha de la prueba", "fecha de capacitación",
    "fecha de la capacitación", "fecha de evaluación", "fecha de la evaluación", "completado",
    "hecho el",
), needed=True)  # fmt: skip

_ROSTER = (
    NUMBER,
    NAME,
    Field("first_name", Words("First name", "Nombre de pila"), ("given name", "first", "nombres",
          "primer nombre")),
    Field("last_name", Words("Last name", "Apellidos"), ("surname", "family name", "last",
          "apellido", "apellido s")),
    Field("worksites", Words("Worksites", "Sitios de trabajo"), ("worksite", "site", "sites",
          "place", "work location", "location", "department", "plant", "sitio de trabajo",
          "sitio", "sitios", "lugar de trabajo", "lugar", "planta", "departamento", "área")),
    Field("roles", Words("Roles", "Funciones"), ("role", "función", "rol")),
    Field("language", Words("Language", "Idioma"), ("preferred language", "lengua")),
    Field("qualification", Words("Qualification as a trainer", "Calificación como capacitador"),
          ("qualification", "trainer qualification", "calificación")),
    CLASS,
    *MADE,
    Field("filters", Words("Filter or cartridge", "Filtro o cartucho"), ("filter", "filters",
          "cartridge", "cartridges", "filtro", "filtros", "cartucho", "cartuchos")),
    Field("use", Words("Use", "Uso"), ("respirator use", "required or by choice",
          "uso del respirador")),
    Field("left_on", Words("Left on", "Se fue el"), ("left", "leaving date", "date left",
          "last day", "termination date", "end date", "fecha de salida", "fecha de baja", "baja",
          "último día", "salida")),
)  # fmt: skip
_TRAINING = (
    NUMBER,
    NAME,
    ON,
    Field("lesson", Words("Lesson", "Lección"), ("course", "topic", "subject", "title", "curso",
          "tema", "título")),
    Field("trainer", Words("Trainer", "Capacitador"), ("trained by", "given by", "instructor",
          "capacitado por", "impartido por", "capacitadora")),
    Field("qualification", Words("Qualification of the trainer", "Calificación del capacitador"),
          ("trainer qualification", "qualification", "calificación")),
    Field("elements", Words("Elements covered", "Elementos cubiertos"), ("elements",
          "elementos")),
    Field("respirators", Words("Respirators covered", "Respiradores cubiertos"), ("respirators",
          "respirator", "respirator class", "respiradores", "respirador", "clase de respirador")),
    Field("watched_by", Words("Practice watched by", "Práctica observada por"), ("watched by",
          "practice by", "observada por", "observado por")),
    Field("watched_on", Words("Practice watched on", "Práctica observada el"), ("watched on",
          "practice date", "fecha de la práctica")),
    Field("watched_how", Words("How practice was watched", "Cómo se observó la práctica"), (
          "how watched", "practice watched how", "cómo se observó")),
)  # fmt: skip
_FIT_TESTS = (
    NUMBER,
    NAME,
    ON,
    Field("protocol", Words("Kind of test", "Tipo de prueba"), ("protocol", "test", "test type",
          "type of test", "fit test protocol", "protocolo", "prueba"), needed=True),
    CLASS,
    *MADE,
    Field("passed", Words("Result", "Resultado"), ("passed", "pass or fail", "outcome",
          "aprobado", "aprobada")),
    Field("fit_factor", Words("Overall fit factor", "Factor de ajuste general"), ("fit factor",
          "overall factor", "factor de ajuste")),
    Field("recording", Words("Where its recording is kept", "Dónde se guarda el registro"), (
          "recording", "record kept at", "strip chart", "registro", "gráfica")),
)  # fmt: skip
_MEDICAL = (
    NUMBER,
    NAME,
    ON,
    Field("outcome", Words("Outcome", "Determinación"), ("result", "cleared", "recommendation",
          "resultado", "recomendación", "autorizado"), needed=True),
    Field("limit", Words("Limit", "Límite"), ("limits", "limit on use", "límites",
          "límite de uso")),
    Field("until", Words("Next evaluation by", "Próxima evaluación"), ("until", "valid until",
          "next evaluation", "expires", "hasta", "válido hasta", "vence")),
)  # fmt: skip
_FIELDS = {"roster": _ROSTER, "training": _TRAINING, "fit-tests": _FIT_TESTS, "medical": _MEDICAL}


def fields(kind: str) -> tuple[Field, ...]:
    """Return what the columns of such a file may hold, in the order of our template."""
    return _FIELDS[kind]


@cache
def _names(kind: str) -> dict[str, str]:
    """Return the slug of a field by each of its names, plain."""
    found: dict[str, str] = {}
    for field in fields(kind):
        for name in (field.words.en, field.words.es, field.slug, *field.names):
            found.setdefault(name_of(name), field.slug)
    return found


def known(kind: str) -> frozenset[str]:
    """Return every plain name by which a column of such a file is known."""
    return frozenset(_names(kind))


def match(kind: str, header: Line) -> dict[str, int]:
    """Return the place of the column of each field that was found, from 0; of two, the first."""
    names = _names(kind)
    found: dict[str, int] = {}
    for place, cell in enumerate(header.cells):
        slug = names.get(name_of(cell))
        if slug:
            found.setdefault(slug, place)
    return found


def check(kind: str, matched: Mapping[str, int], width: int) -> dict[str, int]:
    """Return what a person matched, checked. Errors: Refusal where a needed one is missing."""
    known_slugs = [field.slug for field in fields(kind)]
    chosen = {slug: at for slug, at in matched.items() if slug in known_slugs and 0 <= at < width}
    for slug in known_slugs:
        at = chosen.get(slug)
        if at is not None and list(chosen.values()).count(at) > 1:
            raise Refusal("One column stands for two things. Choose another.", field=slug)
    for field in fields(kind):
        if field.needed and field.slug not in chosen:
            raise Refusal("Choose the column for this; without it no line can be used.",
                          field=field.slug)  # fmt: skip
    if kind == "roster" and "name" not in chosen and "last_name" not in chosen:
        raise Refusal("Choose the column with the names, or those with first and last names.",
                      field="name")  # fmt: skip
    return chosen


def values(line: Line, matched: Mapping[str, int]) -> dict[str, str]:
    """Return the cells of a line by field; an empty one where the line is shorter."""
    cells = line.cells
    return {slug: cells[at] if at < len(cells) else "" for slug, at in matched.items()}
