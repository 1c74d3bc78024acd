"""The commands that plan sheds from files; neither may touch the database."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.planning.mills import INSTANCES, instance
from tests.planning.plan_walker import walk
from tests.started import ROOT, is_gone, wait_until


def test_a_shed_in_a_file_is_planned_into_another(tmp_path, capsys):
    plan = tmp_path / "plan.json"
    call_command("plan_file", INSTANCES / "tiny-1.json", plan, seconds=2, seed=3)
    verdict = walk(instance("tiny-1"), json.loads(plan.read_text()))
    assert verdict.wrong == []
    assert verdict.cost == 1_235_314
    said = capsys.readouterr().out
    assert "cost 1235314 = lateness " in said
    assert "proven: no plan costs less" in said


def test_a_file_that_is_no_shed_is_refused(tmp_path):
    wrong = tmp_path / "wrong.json"
    for text in ("{", '{"format": "loom-sched-1"}', "[]"):
        wrong.write_text(text)
        with pytest.raises(CommandError, match="holds no shed that can be read"):
            call_command("plan_file", wrong, tmp_path / "plan.json")
    wrong.write_text('{"format": "loom-sched-9"}')
    with pytest.raises(CommandError, match="in the format loom-sched-9"):
        call_command("plan_file", wrong, tmp_path / "plan.json")
    assert not (tmp_path / "plan.json").exists()


def test_the_benchmark_prints_a_line_for_each_shed(capsys):
    call_command("bench", "plan", "--seconds", "0.2", "--only", "tiny-1", "tiny-2")
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("search compiled")
    one = lines[2].split()
    assert one[:4] == ["tiny-1", "1235314", "1235314", "1235314"]
    assert one[6] == "1.000"
    assert one[-1] == "proven"
    assert lines[3].startswith("tiny-2")


def test_every_recorded_best_has_its_shed():
    recorded = json.loads((INSTANCES / "best.json").read_text())
    assert {f"{name}.json" for name in recorded} | {"best.json"} == {path.name for path in INSTANCES.glob("*.json")}


def children_of(pid):
    listed = Path(f"/proc/{pid}/task/{pid}/children").read_text()
    return {int(child): Path(f"/proc/{child}/cmdline").read_text().split("\0") for child in listed.split()}


def test_the_search_is_made_ready_ahead_by_a_process_that_ends_with_its_parent(capsys):
    call_command("ready_search")
    assert "ready in" in capsys.readouterr().out
    # A worker has it done by a child, which must not outlive it.
    code = "import time, mill.settings; from mill.readying import make_ready_ahead; make_ready_ahead()"
    env = {**os.environ, "DJANGO_SETTINGS_MODULE": "mill.settings"}
    worker = subprocess.Popen([sys.executable, "-c", f"{code}; time.sleep(60)"], env=env, cwd=ROOT)
    wait_until(lambda: any("ready_search" in words for words in children_of(worker.pid).values()))
    (child,) = children_of(worker.pid)
    worker.kill()
    worker.wait()
    wait_until(lambda: is_gone(child))
