"""The commands that plan sheds from files; neither may touch the database."""

import json

import pytest
from django.core.management import CommandError, call_command

from tests.planning.mills import INSTANCES, instance
from tests.planning.plan_walker import walk


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
