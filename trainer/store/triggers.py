"""Triggers, for migrations: what the database itself refuses or does, on SQLite and PostgreSQL.

A migration calls these inside `upgrade()` and `downgrade()`. Conditions and statements name the
row as OLD and NEW and keep to the SQL that both know; where they differ, `either` takes both.
"""

from collections.abc import Callable
from dataclasses import dataclass

from alembic import op

DEEDS = ("UPDATE", "DELETE")


def refuse_changes(table: str, sentence: str, *, unless: str = "") -> None:
    """Refuse to change or delete any row of a table; on PostgreSQL also to empty it as a whole.

    sentence    what the database says, as an integrity error
    unless      condition under which a row may be changed (and never deleted)
    """
    for deed in DEEDS:
        let = unless if deed == "UPDATE" else ""
        refuse(_name(table, deed), deed, table, sentence, unless=let)
    for deed in _kind().whole_table:
        refuse(_name(table, deed), deed, table, sentence)


def refuse_nothing(table: str) -> None:
    """Let rows of a table be changed and deleted again; before it is dropped, or refused anew."""
    for deed in (*DEEDS, *_kind().whole_table):
        drop(_name(table, deed), table)


def refuse(name: str, deed: str, table: str, sentence: str, *, unless: str = "") -> None:
    """Refuse one deed (INSERT, UPDATE or DELETE) on rows of a table.

    unless      condition under which it is let through; it may ask other tables
    """
    said = sentence.replace("'", "''")
    _run(_kind().refusing(name, deed, table, said, unless))


def after_update(name: str, table: str, columns: tuple[str, ...], statement: str) -> None:
    """Run a statement for each row of which one of these columns was set."""
    _run(_kind().following(name, f"UPDATE OF {', '.join(columns)}", table, statement))


def drop(name: str, table: str) -> None:
    """Take a trigger off its table."""
    _run(_kind().dropping(name, table))


def same(*columns: str) -> str:
    """Return the condition that these columns stay as they are, empty ones too."""
    word = either(sqlite="IS", postgresql="IS NOT DISTINCT FROM")
    return " AND ".join(f"NEW.{one} {word} OLD.{one}" for one in columns)


def either(*, sqlite: str, postgresql: str) -> str:
    """Return the SQL of the database that is being migrated."""
    return {"sqlite": sqlite, "postgresql": postgresql}[op.get_bind().dialect.name]


@dataclass(frozen=True)
class Kind:
    """How one kind of database says it.

    refusing    name, deed, table, sentence, unless -> statements
    following   name, deed, table, statement -> statements
    dropping    name, table -> statements
    whole_table deeds that touch all rows at once and call no trigger of a row
    """

    refusing: Callable[[str, str, str, str, str], list[str]]
    following: Callable[[str, str, str, str], list[str]]
    dropping: Callable[[str, str], list[str]]
    whole_table: tuple[str, ...] = ()


def _name(table: str, deed: str) -> str:
    return f"{table}_refuses_{deed.lower()}"


def _kind() -> Kind:
    return KINDS[op.get_bind().dialect.name]


def _run(statements: list[str]) -> None:
    for statement in statements:
        op.execute(statement)


# SQLite: a trigger is its statements.


def _sqlite_refusing(name: str, deed: str, table: str, sentence: str, unless: str) -> list[str]:
    when = f"WHEN NOT ({unless}) " if unless else ""
    return [
        f"CREATE TRIGGER {name} BEFORE {deed} ON {table} {when}"
        f"BEGIN SELECT RAISE(ABORT, '{sentence}'); END"
    ]


def _sqlite_following(name: str, deed: str, table: str, statement: str) -> list[str]:
    return [f"CREATE TRIGGER {name} AFTER {deed} ON {table} BEGIN {statement}; END"]


def _sqlite_dropping(name: str, _table: str) -> list[str]:
    return [f"DROP TRIGGER {name}"]


# PostgreSQL: a trigger calls a function, which here has its name. Its WHEN could not ask other
# tables, so the condition stands in the function.


def _postgresql(name: str, when: str, table: str, does: str, each: str = "ROW") -> list[str]:
    return [
        # Replaced where it is there: a table that was dropped took its triggers along, and left it.
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql "
        f"AS $$ BEGIN {does} END $$",
        f"CREATE TRIGGER {name} {when} ON {table} FOR EACH {each} EXECUTE FUNCTION {name}()",
    ]


def _postgresql_refusing(
    name: str, deed: str, table: str, sentence: str, unless: str
) -> list[str]:
    row = "OLD" if deed == "DELETE" else "NEW"
    let = f"IF {unless} THEN RETURN {row}; END IF; " if unless else ""
    error = f"MESSAGE = '{sentence}', ERRCODE = 'integrity_constraint_violation'"
    each = "STATEMENT" if deed == "TRUNCATE" else "ROW"
    return _postgresql(
        name, f"BEFORE {deed}", table, f"{let}RAISE EXCEPTION USING {error};", each
    )


def _postgresql_following(name: str, deed: str, table: str, statement: str) -> list[str]:
    return _postgresql(name, f"AFTER {deed}", table, f"{statement}; RETURN NULL;")


def _postgresql_dropping(name: str, table: str) -> list[str]:
    return [f"DROP TRIGGER {name} ON {table}", f"DROP FUNCTION {name}()"]


KINDS = {
    "sqlite": Kind(_sqlite_refusing, _sqlite_following, _sqlite_dropping),
    "postgresql": Kind(
        _postgresql_refusing, _postgresql_following, _postgresql_dropping, ("TRUNCATE",)
    ),
}
