"""What a person sees when there is no such page, or the program fails: our words, and the way on."""

import pytest
from django.test import Client, override_settings
from django.urls import path

from mill.urls import handler500
from mill.urls import urlpatterns as own

__all__ = ["handler500"]

pytestmark = pytest.mark.django_db


def fails(request):
    raise AssertionError("a fault")


urlpatterns = [*own, path("fails/", fails, name="today")]


def test_a_page_that_is_not_there_leads_on(desk):
    answer = desk.get("/warps/there-is-none/")
    assert answer.status_code == 404
    page = answer.content.decode()
    assert "There is no such page" in page
    assert "/warps/there-is-none/" in page
    assert 'name="q"' in page  # the box that finds things


def test_who_has_not_signed_in_is_told_the_same_and_shown_nothing_of_the_mill():
    answer = Client(REMOTE_ADDR="10.0.0.7").get("/there-is-none/")
    assert answer.status_code in (302, 404)
    assert b"/orders/" not in answer.content


def test_a_fault_says_what_to_look_at(planner):
    client = Client(raise_request_exception=False)
    client.force_login(planner)
    with override_settings(ROOT_URLCONF="tests.mill.test_error_pages"):
        answer = client.get("/fails/")
    assert answer.status_code == 500
    assert "Look whether what you sent is written before you send it again" in answer.content.decode()
