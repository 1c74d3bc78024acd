"""The example mill on many days, ten times as large, and written by another Python."""

import os
import subprocess
import sys
from collections import Counter
from datetime import date, timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from inventory import services as store
from inventory.models import Movement, YarnLot
from planning.models import Loom, OrderLine, Piece, Warp
from tests.mill.candlebeck_digest import TABLES

ROOT = Path(__file__).resolve().parent.parent.parent
pytestmark = pytest.mark.slow

PRINT_DIGEST = """
import django
django.setup()
from tests.mill.candlebeck_digest import digest
print(digest())
"""


@pytest.mark.parametrize("n", range(8))
def test_any_seed_on_any_day_makes_a_mill_that_an_audit_finds_right(db, capsys, n):
    on = date(2026, 11, 23) + timedelta(days=37 * n + n)
    call_command("example_mill", seed=100 + n, on=on, stdout=StringIO())
    assert OrderLine.objects.open().count() == 90
    assert 20 <= Warp.objects.open().count() <= 40
    call_command("audit")
    assert capsys.readouterr().out.startswith("Nothing differs")


def test_a_mill_ten_times_as_large_is_written_whole(db, capsys):
    call_command("example_mill", size=10, on=date(2026, 11, 25), stdout=StringIO())
    assert Loom.objects.count() == 30
    assert YarnLot.objects.count() == 3_000
    assert OrderLine.objects.open().count() == 900
    assert Piece.objects.count() > 3_900
    assert Movement.objects.count() > 12_000
    assert set(Counter(Warp.objects.open().values_list("loom", flat=True)).values()) > {1}
    store.check_invariants()
    call_command("audit")
    assert capsys.readouterr().out.startswith("Nothing differs")


def test_another_python_writes_the_same_mill(tmp_path):
    """Sets are walked in another order under another hash seed: nothing may follow from that."""
    digests = set()
    for hash_seed in ("1", "2"):
        env = {
            **{name: value for name, value in os.environ.items() if not name.startswith(("SHEDBOOK_", "PYTEST_"))},
            "SHEDBOOK_DATA": str(tmp_path / hash_seed),
            "DJANGO_SETTINGS_MODULE": "mill.settings",
            "PYTHONHASHSEED": hash_seed,
        }
        for arguments in (
            ["manage.py", "migrate", "--verbosity", "0"],
            ["manage.py", "example_mill", "--on", "2026-11-25"],
        ):
            subprocess.run([sys.executable, *arguments], cwd=ROOT, env=env, check=True, capture_output=True)
        done = subprocess.run(
            [sys.executable, "-c", PRINT_DIGEST], cwd=ROOT, env=env, check=True, capture_output=True, text=True
        )
        digests.add(done.stdout.strip())
    assert len(digests) == 1
    assert len(TABLES) > 20
