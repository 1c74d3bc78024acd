import pytest
from django.core.management import call_command

from mill import jobs
from mill.management.commands.audit import AUDITS
from planning.models import WarpFigures
from planning.services import working_out
from tests.make import make_line, make_spec, make_warp


@pytest.fixture
def a_warp_worked_out(db):
    spec = make_spec()
    warp = make_warp(spec=spec, lines=[make_line(spec=spec)])
    working_out.warps_changed([warp.pk])
    jobs.settle()
    return warp


def test_both_sides_of_the_mill_are_audited():
    assert set(AUDITS) == {"planning", "inventory"}


def test_a_book_that_agrees_with_itself_says_how_much_was_compared(a_warp_worked_out, capsys):
    call_command("audit")
    said = capsys.readouterr().out
    assert said.startswith("Nothing differs: ")
    assert int(said.split()[2].replace(",", "")) > 10
    assert "of planning" in said
    assert "of inventory" in said


def test_a_figure_that_differs_is_named_and_the_audit_fails(a_warp_worked_out, capsys):
    WarpFigures.objects.filter(warp=a_warp_worked_out).update(ends=7)
    with pytest.raises(SystemExit) as ended:
        call_command("audit")
    assert ended.value.code == 1
    said = capsys.readouterr().out
    assert "planning: " in said
    assert "ends is stored as 7" in said
    assert "1 of " in said.splitlines()[-1]
