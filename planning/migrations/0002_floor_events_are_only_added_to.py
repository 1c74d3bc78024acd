"""The database itself keeps what the floor told: added, never changed, never taken away; and a piece's account.

One thing alone may change: an event lets go of a piece that was struck out of the book.
"""

from django.db import migrations

COLUMNS = [
    *("id", "key", "kind", "warp_id", "loom_id", "ticket_id", "worker_id", "happened_at", "received_at", "facts"),
    *("undoes_id", "refused", "by_id"),
]
SAME = " AND ".join(f'NEW."{name}" IS OLD."{name}"' for name in COLUMNS)

SQLITE_CREATE = [
    f"""
    CREATE TRIGGER floor_event_no_update BEFORE UPDATE ON planning_floorevent
    WHEN NOT ((NEW.piece_id IS NULL OR NEW.piece_id IS OLD.piece_id) AND {SAME})
    BEGIN SELECT RAISE(ABORT, 'What the floor told is never changed: it gets an event of its own.'); END
    """,
    """
    CREATE TRIGGER floor_event_no_delete BEFORE DELETE ON planning_floorevent
    BEGIN SELECT RAISE(ABORT, 'What the floor told is never taken away: it gets an event of its own.'); END
    """,
    """
    CREATE TRIGGER piece_entry_no_update BEFORE UPDATE ON planning_pieceentry
    BEGIN SELECT RAISE(ABORT, 'A line of a piece''s account is never changed: write another.'); END
    """,
]
SQLITE_DROP = [
    "DROP TRIGGER IF EXISTS floor_event_no_update",
    "DROP TRIGGER IF EXISTS floor_event_no_delete",
    "DROP TRIGGER IF EXISTS piece_entry_no_update",
]

POSTGRESQL_CREATE = [
    """
    CREATE FUNCTION floor_event_stays() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF TG_OP = 'UPDATE' AND (NEW.piece_id IS NULL OR NEW.piece_id IS NOT DISTINCT FROM OLD.piece_id)
           AND to_jsonb(NEW) - 'piece_id' = to_jsonb(OLD) - 'piece_id' THEN
            RETURN NEW;
        END IF;
        RAISE EXCEPTION 'What the floor told is never changed or taken away: it gets an event of its own.'
            USING ERRCODE = 'integrity_constraint_violation';
    END $$
    """,
    """
    CREATE TRIGGER floor_event_stays BEFORE UPDATE OR DELETE ON planning_floorevent
    FOR EACH ROW EXECUTE FUNCTION floor_event_stays()
    """,
    """
    CREATE FUNCTION piece_entry_stays() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION 'A line of a piece''s account is never changed: write another.'
            USING ERRCODE = 'integrity_constraint_violation';
    END $$
    """,
    """
    CREATE TRIGGER piece_entry_stays BEFORE UPDATE ON planning_pieceentry
    FOR EACH ROW EXECUTE FUNCTION piece_entry_stays()
    """,
]
POSTGRESQL_DROP = [
    "DROP TRIGGER IF EXISTS floor_event_stays ON planning_floorevent",
    "DROP TRIGGER IF EXISTS piece_entry_stays ON planning_pieceentry",
    "DROP FUNCTION IF EXISTS floor_event_stays()",
    "DROP FUNCTION IF EXISTS piece_entry_stays()",
]


def run(schema_editor, *, sqlite, postgresql):
    for statement in {"sqlite": sqlite, "postgresql": postgresql}[schema_editor.connection.vendor]:
        schema_editor.execute(statement)


def create(apps, schema_editor):
    run(schema_editor, sqlite=SQLITE_CREATE, postgresql=POSTGRESQL_CREATE)


def drop(apps, schema_editor):
    run(schema_editor, sqlite=SQLITE_DROP, postgresql=POSTGRESQL_DROP)


class Migration(migrations.Migration):
    dependencies = [("planning", "0001_initial")]
    operations = [migrations.RunPython(create, drop)]
