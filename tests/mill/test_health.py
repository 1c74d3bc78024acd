"""The health of the book, as whatever looks after its processes asks for it."""

from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connections
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client

from mill import health, jobs


@pytest.fixture(autouse=True)
def not_looked_up_yet(monkeypatch):
    monkeypatch.setattr(health, "_migrated", False)


def test_a_process_that_answers_is_well_without_a_database():
    assert Client().get("/healthz").json() == {"health": "well"}


@pytest.mark.django_db
def test_a_book_that_is_up_to_date_is_ready():
    for _ in range(2):
        answer = Client().get("/readyz")
        assert answer.status_code == 200
        assert answer.json() == {"ready": True, "database": "its tables are up to date", "work": {"lying": 0}}
        assert "no-store" in answer["Cache-Control"]


@pytest.mark.django_db
def test_a_server_that_is_to_be_closed_sends_people_away_and_goes_on_answering(monkeypatch, tmp_path, desk):
    monkeypatch.setattr(health, "LEAVING", tmp_path / "leaving")
    call_command("send_away", stdout=StringIO())
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.json()["ready"]) == (503, False)
    assert Client().get("/healthz").status_code == desk.get("/orders/").status_code == 200
    call_command("send_away", "--back", stdout=StringIO())
    assert Client().get("/readyz").status_code == 200


@pytest.mark.django_db
def test_tables_of_an_older_book_are_not_ready():
    MigrationRecorder.Migration.objects.filter(app="mill").order_by("name").last().delete()
    answer = Client().get("/readyz")
    assert answer.status_code == 503
    assert "run manage.py migrate" in answer.json()["database"]


@pytest.mark.django_db
def test_work_that_lies_is_told_and_sends_nobody_away():
    job = jobs.Job.objects.create(task="mill.tasks.nothing")
    jobs.Job.objects.filter(pk=job.pk).update(asked_at="2026-01-01T00:00:00Z")
    answer = Client().get("/readyz")
    assert answer.status_code == 200
    assert answer.json()["work"] == {"lying": 1}


@pytest.mark.django_db(transaction=True)
def test_a_database_that_does_not_answer_is_said(tmp_path):
    connection = connections["default"]
    if connection.vendor != "sqlite":
        pytest.skip("a server that is gone is a long proof")
    settings, connection.settings_dict = (
        connection.settings_dict,
        {
            **connection.settings_dict,
            "NAME": str(tmp_path / "no such folder" / "book.sqlite3"),
        },
    )
    connection.close()
    try:
        answer = Client().get("/readyz")
    finally:
        connection.close()
        connection.settings_dict = settings
    assert answer.status_code == 503
    assert answer.json() == {"ready": False, "database": "it does not answer", "work": {}}
