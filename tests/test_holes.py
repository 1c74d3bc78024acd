"""The step of the checks that looks known holes up: what it makes of pip-audit's answer.

The form is that of pip-audit's own documentation (README, "--format json"), from memory.
"""

import json
import runpy
from pathlib import Path

import pytest

STEP = runpy.run_path(str(Path(__file__).resolve().parent.parent / ".ci" / "holes.py"))
HOLE = {"id": "PYSEC-2000-1", "fix_versions": ["1.2", "2.0"], "aliases": [], "description": ""}


def test_a_hole_is_said_with_the_versions_that_mend_it():
    said = [
        {"name": "one", "version": "1.0", "vulns": [HOLE, {**HOLE, "id": "PYSEC-2000-2", "fix_versions": []}]},
        {"name": "two", "version": "1.0", "vulns": []},
        # In two locks, and counted once.
        {"name": "two", "version": "1.0", "vulns": []},
        {"name": "three", "skip_reason": "Dependency not found"},
    ]
    holes, n_found, n_passed_over = STEP["told"](json.dumps({"dependencies": said, "fixes": []}))
    assert holes == [
        "one 1.0: PYSEC-2000-1, mended in 1.2 or 2.0",
        "one 1.0: PYSEC-2000-2, mended in no version yet",
    ]
    assert (n_found, n_passed_over) == (2, 1)


def test_no_answer_is_no_data():
    with pytest.raises(ValueError):
        STEP["told"]("")
