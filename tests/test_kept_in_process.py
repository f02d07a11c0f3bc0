"""What a process keeps in memory between requests: nothing that another process needs.

The table is typed here and not read from the program: a cache or a container of a module that has
no row fails, and whoever adds one says why another process can do without it.
"""

import ast
from pathlib import Path

import trainer

ROOT = Path(trainer.__file__).parent

CONTENT = "files of the program, the same in every process of a version"
PURE = "worked out from what it is given, and from nothing else"
FILLED_AT_IMPORT = "filled while modules are read, never afterwards"
OF_A_REQUEST = "of the request that a thread answers just now, begun anew with each"
COUNTED = "what this process did, which adds up where the figures are asked for"
GUARD = "lets few threads of this process do something at a time"

KEPT = {
    "bank/draw.py": {
        "_drawn": PURE, "_fitting": CONTENT, "_parted": PURE,
        "_stepped_numbers": PURE, "_rounded_numbers": PURE,
    },
    "bank/numerals.py": {"_conversion": PURE, "_pint": CONTENT},
    "bank/read.py": {"_loaded": CONTENT, "_loading": GUARD},
    "calculations/faults.py": {"exactly": PURE},
    "config.py": {"names": CONTENT, "content_folder": CONTENT},
    "documents/markup.py": {"drawing_style": CONTENT},
    "documents/pdf.py": {"_OF_THREAD": CONTENT},
    "lessons/bare_numbers.py": {"unitless": CONTENT},
    "lessons/matters.py": {"matters": CONTENT},
    "lessons/pictures.py": {"_ONE_AT_A_TIME": GUARD},
    "lessons/read.py": {"figure": CONTENT, "_loaded": CONTENT, "_loading": GUARD},
    "lessons/reading_level.py": {"_hand_over_dictionary": CONTENT},
    **{
        f"reference/{name}.py": {"rows": CONTENT}
        for name in (
            "approvals", "cartridge_limits", "contaminants", "duties", "filter_classes",
            "fit_test_protocols", "oxygen_altitude", "practice_acts", "retention",
            "retraining_reasons",
        )
    },
    "running/metrics.py": {"_meters": COUNTED},
    "running/turns.py": {"_here": OF_A_REQUEST},
    "reference/respirator_classes.py": {
        "rows": CONTENT, "recognised": CONTENT, "factors": CONTENT
    },
    "reference/training_elements.py": {"rows": CONTENT, "seven": CONTENT},
    # Both are given the whole text of what they make a lesson of.
    "services/as_taught.py": {"_read": PURE},
    "services/curriculum.py": {"_composed": PURE, "_bank": PURE},
    "services/booklet.py": {"booklet": CONTENT},
    "services/columns.py": {"_NOBODY": FILLED_AT_IMPORT},
    "services/demonstrating.py": {"cast": CONTENT},
    "services/entry_words.py": {"_our_title": CONTENT},
    "services/errands.py": {"_DOINGS": FILLED_AT_IMPORT},
    "services/hard_spots.py": {"_example": CONTENT},
    "services/matching_columns.py": {"_names": CONTENT},
    "services/paper_words.py": {"day": PURE},
    "services/sitting.py": {"_question": PURE},
    "services/settings.py": {"_kind": CONTENT},
    "services/reading_cells.py": {"_classes": CONTENT, "_protocols": CONTENT, "_elements": CONTENT},
    "store/engine.py": {"migrations": CONTENT},
    "store/postgres.py": {"_streaming": CONTENT},
    "store/often.py": {"_shape": CONTENT},
    "store/spent.py": {"_here": OF_A_REQUEST},
    "web/compressing.py": {"_file": CONTENT},
    "web/errands.py": {"TITLES": FILLED_AT_IMPORT, "_RESULTS": FILLED_AT_IMPORT},
    "web/headers.py": {"_version": CONTENT},
    "web/language.py": {"_catalogue": CONTENT, "said": CONTENT, "_written": PURE},
    "web/proxies.py": {"_holds": PURE},
    "web/surroundings.py": {
        "_all_ways": CONTENT, "_groups": CONTENT, "_ways": CONTENT, "_hrefs": CONTENT
    },
    "words.py": {"_rounded": PURE, "_shows_all": PURE},
}  # fmt: skip

CONTAINERS = {
    "dict", "list", "set", "deque", "defaultdict", "Counter", "OrderedDict", "local",
    "WeakKeyDictionary", "WeakValueDictionary", "Lock", "RLock", "Semaphore", "BoundedSemaphore",
    "Event", "Queue", "ContextVar",
}  # fmt: skip
FROM_SOMETHING = {"dict", "list", "set"}
"""Made from something they are a table; without anything they are there to be filled."""


def kept_in(tree: ast.Module) -> set[str]:
    """Return the names of what a module keeps: caches, and containers that begin empty."""
    found = {
        name
        for node in ast.walk(tree)
        if isinstance(node, ast.Global)
        for name in node.names
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and any(map(is_cache, node.decorator_list)):
            found.add(node.name)
    for node in tree.body:
        if isinstance(node, ast.Assign | ast.AnnAssign) and begins_empty(node.value):
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            found.add(ast.unparse(target))
    return found


def is_cache(decorator: ast.expr) -> bool:
    """Say whether a decorator keeps what a function returned, for the whole process."""
    plain = decorator.func if isinstance(decorator, ast.Call) else decorator
    return ast.unparse(plain).rpartition(".")[2] in ("cache", "lru_cache")


def begins_empty(value: ast.expr | None) -> bool:
    """Say whether a value of a module is a container that something fills later."""
    if isinstance(value, ast.Dict):
        return not value.keys
    if isinstance(value, ast.List):
        return not value.elts
    if not isinstance(value, ast.Call):
        return False
    name = ast.unparse(value.func).rpartition(".")[2]
    return name in CONTAINERS and not (name in FROM_SOMETHING and value.args)


def test_whatever_a_process_keeps_has_a_reason_why_no_other_needs_it():
    found = {
        path.relative_to(ROOT).as_posix(): kept_in(ast.parse(path.read_text(encoding="utf-8")))
        for path in ROOT.rglob("*.py")
    }
    assert {name: kept for name, kept in found.items() if kept} == {
        name: set(kept) for name, kept in KEPT.items()
    }


def test_each_way_of_keeping_something_is_seen():
    tree = ast.parse(
        "from functools import cache, lru_cache\n"
        "here = {}\nthere: list[int] = []\nqueue = deque()\ntable = dict(one=1)\n"
        "rows = list(range(3))\nnamed = {1: 2}\n"
        "@cache\ndef a(): pass\n@lru_cache(maxsize=2)\ndef b(): pass\n"
        "def c():\n    global counted\n    counted = 1\n"
    )
    assert kept_in(tree) - {"table"} == {"here", "there", "queue", "a", "b", "counted"}
