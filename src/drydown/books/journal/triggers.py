"""What the database itself refuses: unbalanced, unsealed, broken or changed entries.

The same four rules for the embedded database and for PostgreSQL. Deferred foreign keys from
an entry to its seal see to it that no entry is committed without passing them.
"""

from __future__ import annotations

from typing import Any

__all__ = ["lay_triggers", "missing_triggers"]

_SQLITE = [
    """CREATE TRIGGER books_seal_checks BEFORE INSERT ON books_seal BEGIN
      SELECT RAISE(ABORT, 'journal: the seal has no entry')
        WHERE NOT EXISTS (SELECT 1 FROM books_entry WHERE number = NEW.number);
      SELECT RAISE(ABORT, 'journal: postings do not sum to zero')
        WHERE EXISTS (SELECT 1 FROM books_posting WHERE entry_id = NEW.number
                      GROUP BY commodity HAVING SUM(amount) <> 0);
      SELECT RAISE(ABORT, 'journal: the chain does not join')
        WHERE NOT EXISTS (SELECT 1 FROM books_seal WHERE number = NEW.number - 1 AND digest = NEW.previous)
        AND NOT (NEW.number = 1 AND NEW.previous =
          '0000000000000000000000000000000000000000000000000000000000000000');
      SELECT RAISE(ABORT, 'journal: entries are only added')
        WHERE EXISTS (SELECT 1 FROM books_seal WHERE number = NEW.number OR digest = NEW.digest);
    END""",
    """CREATE TRIGGER books_entry_never_replaced BEFORE INSERT ON books_entry BEGIN
      SELECT RAISE(ABORT, 'journal: entries are only added')
        WHERE EXISTS (SELECT 1 FROM books_entry WHERE number = NEW.number OR key = NEW.key
                      OR seal_id = NEW.seal_id OR reverses_id = NEW.reverses_id
                      OR (device_id = NEW.device_id AND device_seq = NEW.device_seq));
    END""",
    """CREATE TRIGGER books_posting_in_time BEFORE INSERT ON books_posting BEGIN
      SELECT RAISE(ABORT, 'journal: a sealed entry takes no postings')
        WHERE EXISTS (SELECT 1 FROM books_seal WHERE number = NEW.entry_id);
      SELECT RAISE(ABORT, 'journal: a posting needs its entry first')
        WHERE NOT EXISTS (SELECT 1 FROM books_entry WHERE number = NEW.entry_id);
      SELECT RAISE(ABORT, 'journal: entries are only added')
        WHERE EXISTS (SELECT 1 FROM books_posting WHERE id = NEW.id);
    END""",
]
_POSTGRES = [
    """CREATE FUNCTION books_seal_checks() RETURNS trigger AS $$ BEGIN
      IF NOT EXISTS (SELECT 1 FROM books_entry WHERE number = NEW.number) THEN
        RAISE EXCEPTION 'journal: the seal has no entry' USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      IF EXISTS (SELECT 1 FROM books_posting WHERE entry_id = NEW.number
                 GROUP BY commodity HAVING SUM(amount) <> 0) THEN
        RAISE EXCEPTION 'journal: postings do not sum to zero'
          USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      IF NOT EXISTS (SELECT 1 FROM books_seal WHERE number = NEW.number - 1 AND digest = NEW.previous)
         AND NOT (NEW.number = 1 AND NEW.previous = repeat('0', 64)) THEN
        RAISE EXCEPTION 'journal: the chain does not join' USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      RETURN NEW; END $$ LANGUAGE plpgsql SET enable_seqscan = off""",
    """CREATE TRIGGER books_seal_checks BEFORE INSERT ON books_seal
      FOR EACH ROW EXECUTE FUNCTION books_seal_checks()""",
    """CREATE FUNCTION books_posting_in_time() RETURNS trigger AS $$ BEGIN
      IF EXISTS (SELECT 1 FROM books_seal WHERE number = NEW.entry_id) THEN
        RAISE EXCEPTION 'journal: a sealed entry takes no postings'
          USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      IF NOT EXISTS (SELECT 1 FROM books_entry WHERE number = NEW.entry_id) THEN
        RAISE EXCEPTION 'journal: a posting needs its entry first'
          USING ERRCODE = 'integrity_constraint_violation';
      END IF;
      RETURN NEW; END $$ LANGUAGE plpgsql SET enable_seqscan = off""",
    """CREATE TRIGGER books_posting_in_time BEFORE INSERT ON books_posting
      FOR EACH ROW EXECUTE FUNCTION books_posting_in_time()""",
    """CREATE FUNCTION books_only_added() RETURNS trigger AS $$ BEGIN
      RAISE EXCEPTION 'journal: entries are only added'
        USING ERRCODE = 'integrity_constraint_violation'; END $$ LANGUAGE plpgsql""",
]
_KEPT = ("books_entry", "books_posting", "books_seal")


def lay_triggers(_apps: Any, editor: Any) -> None:
    """Lay the rules into the database that is being migrated."""
    vendor = editor.connection.vendor
    for line in _SQLITE if vendor == "sqlite" else _POSTGRES:
        editor.execute(line)
    for table in _KEPT:
        for act in ("UPDATE", "DELETE"):
            editor.execute(_only_added(vendor, table, act))
        if vendor != "sqlite":
            editor.execute(
                f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION books_only_added()"
            )


def _only_added(vendor: str, table: str, act: str) -> str:
    name = f"{table}_no_{act.lower()}"
    if vendor == "sqlite":
        return (
            f"CREATE TRIGGER {name} BEFORE {act} ON {table} BEGIN "
            "SELECT RAISE(ABORT, 'journal: entries are only added'); END"
        )
    return f"CREATE TRIGGER {name} BEFORE {act} ON {table} FOR EACH ROW EXECUTE FUNCTION books_only_added()"


def missing_triggers(connection: Any) -> list[str]:
    """Rules of the journal that the database does not hold as they were laid; empty when whole."""
    sqlite = connection.vendor == "sqlite"
    wanted = {
        _name(line): _plain(line) for line in (_SQLITE if sqlite else _POSTGRES) if "CREATE TRIGGER" in line
    }
    for table in _KEPT:
        for act in ("UPDATE", "DELETE"):
            line = _only_added(connection.vendor, table, act)
            wanted[_name(line)] = _plain(line)
        if not sqlite:
            wanted[f"{table}_no_truncate"] = ""
    with connection.cursor() as cursor:
        if sqlite:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            there = {name: _plain(text) for name, text in cursor.fetchall()}
            return sorted(n for n, text in wanted.items() if there.get(n) != text)
        cursor.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled = 'O'")
        names = {row[0] for row in cursor.fetchall()}
    return sorted(n for n in wanted if n not in names)


def _name(line: str) -> str:
    return line.split("CREATE TRIGGER", 1)[1].split(maxsplit=1)[0]


def _plain(line: str) -> str:
    return " ".join(line.split())
