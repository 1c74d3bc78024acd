"""The database itself keeps the ledger: lines are added in order, never changed, never taken away."""

from django.db import migrations

SQLITE_CREATE = [
    """
    CREATE TRIGGER ledger_no_update BEFORE UPDATE ON inventory_movement
    BEGIN SELECT RAISE(ABORT, 'A movement is never changed: correct it with another movement.'); END
    """,
    """
    CREATE TRIGGER ledger_no_delete BEFORE DELETE ON inventory_movement
    BEGIN SELECT RAISE(ABORT, 'A movement is never taken away: correct it with another movement.'); END
    """,
    """
    CREATE TRIGGER ledger_follows_on BEFORE INSERT ON inventory_movement
    WHEN NEW.on_hand_after_g <> NEW.change_g + COALESCE(
           (SELECT on_hand_after_g FROM inventory_movement WHERE lot_id = NEW.lot_id AND seq = NEW.seq - 1), 0)
      OR NEW.held_after_g <> NEW.held_change_g + COALESCE(
           (SELECT held_after_g FROM inventory_movement WHERE lot_id = NEW.lot_id AND seq = NEW.seq - 1), 0)
      OR NEW.seq <> 1 + COALESCE((SELECT MAX(seq) FROM inventory_movement WHERE lot_id = NEW.lot_id), 0)
    BEGIN SELECT RAISE(ABORT, 'A movement must follow from the line before it.'); END
    """,
]
SQLITE_DROP = [
    "DROP TRIGGER IF EXISTS ledger_no_update",
    "DROP TRIGGER IF EXISTS ledger_no_delete",
    "DROP TRIGGER IF EXISTS ledger_follows_on",
]

POSTGRESQL_CREATE = [
    """
    CREATE FUNCTION ledger_keeps_lines() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION 'A movement is never changed or taken away: correct it with another movement.'
            USING ERRCODE = 'integrity_constraint_violation';
    END $$
    """,
    """
    CREATE TRIGGER ledger_keeps_lines BEFORE UPDATE OR DELETE ON inventory_movement
    FOR EACH ROW EXECUTE FUNCTION ledger_keeps_lines()
    """,
    """
    CREATE FUNCTION ledger_follows_on() RETURNS trigger LANGUAGE plpgsql AS $$
    DECLARE before_on_hand integer; before_held integer; before_seq integer;
    BEGIN
        SELECT seq, on_hand_after_g, held_after_g INTO before_seq, before_on_hand, before_held
            FROM inventory_movement WHERE lot_id = NEW.lot_id ORDER BY seq DESC LIMIT 1;
        IF NEW.seq <> COALESCE(before_seq, 0) + 1
           OR NEW.on_hand_after_g <> COALESCE(before_on_hand, 0) + NEW.change_g
           OR NEW.held_after_g <> COALESCE(before_held, 0) + NEW.held_change_g THEN
            RAISE EXCEPTION 'A movement must follow from the line before it.'
                USING ERRCODE = 'integrity_constraint_violation';
        END IF;
        RETURN NEW;
    END $$
    """,
    """
    CREATE TRIGGER ledger_follows_on BEFORE INSERT ON inventory_movement
    FOR EACH ROW EXECUTE FUNCTION ledger_follows_on()
    """,
]
POSTGRESQL_DROP = [
    "DROP TRIGGER IF EXISTS ledger_keeps_lines ON inventory_movement",
    "DROP TRIGGER IF EXISTS ledger_follows_on ON inventory_movement",
    "DROP FUNCTION IF EXISTS ledger_keeps_lines()",
    "DROP FUNCTION IF EXISTS ledger_follows_on()",
]


def run(schema_editor, *, sqlite, postgresql):
    for statement in {"sqlite": sqlite, "postgresql": postgresql}[schema_editor.connection.vendor]:
        schema_editor.execute(statement)


def create(apps, schema_editor):
    run(schema_editor, sqlite=SQLITE_CREATE, postgresql=POSTGRESQL_CREATE)


def drop(apps, schema_editor):
    run(schema_editor, sqlite=SQLITE_DROP, postgresql=POSTGRESQL_DROP)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial")]
    operations = [migrations.RunPython(create, drop)]
