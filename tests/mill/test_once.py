"""The same key and the same request: written once, answered alike."""

from datetime import timedelta
from threading import Thread

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from mill import tokens
from mill.models import KeptAnswer
from planning.models import Customer, Order
from tests.make import make_customer

ADDRESS = "/api/customers/"


def send(desk, key, address=ADDRESS, **said):
    return desk.post(address, said, content_type="application/json", headers={"Idempotency-Key": key})


def test_sent_twice_it_is_written_once_and_answered_alike(desk):
    first = send(desk, "k1", code="KELD", name="Keld Tailors")
    assert first.status_code == 201, first.content
    again = send(desk, "k1", code="KELD", name="Keld Tailors")
    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["Content-Type"] == first.headers["Content-Type"]
    assert again.headers["Idempotency-Replayed"] == "true"
    assert Customer.objects.count() == 1


def test_a_key_that_was_sent_with_something_else_is_refused(desk):
    send(desk, "k1", code="KELD", name="Keld Tailors")
    other = send(desk, "k1", code="WOLD", name="Wold Tailors")
    assert other.status_code == 422
    assert other.headers["Content-Type"] == "application/problem+json"
    assert not Customer.objects.filter(code="WOLD").exists()


def test_what_was_refused_may_be_sent_again_with_its_key(desk):
    standing = make_customer(code="KELD")
    assert send(desk, "k1", code="KELD", name="Keld Tailors").status_code == 400
    assert not KeptAnswer.objects.exists()
    standing.delete()
    assert send(desk, "k1", code="KELD", name="Keld Tailors").status_code == 201


def test_after_two_days_a_key_is_forgotten(desk):
    send(desk, "k1", code="KELD", name="Keld Tailors")
    KeptAnswer.objects.update(at=timezone.now() - timedelta(hours=49))
    assert send(desk, "k1", code="WOLD", name="Wold Tailors").status_code == 201
    assert KeptAnswer.objects.count() == 1


def test_everybody_has_keys_of_their_own(desk, django_user_model):
    other = django_user_model.objects.create_user("other", password="only for tests", is_superuser=True)
    _, secret = tokens.make_token(name="One", may_write=True, by=other)
    send(desk, "k1", code="KELD", name="Keld Tailors")
    headers = {"Idempotency-Key": "k1", "Authorization": f"Bearer {secret}"}
    said = {"code": "WOLD", "name": "Wold Tailors"}
    made = Client().post(ADDRESS, said, content_type="application/json", headers=headers)
    assert made.status_code == 201


@pytest.mark.parametrize("key", ["", "k" * 201, "é"])
def test_a_key_that_is_none_is_refused(desk, key):
    assert send(desk, key, code="KELD", name="Keld Tailors").status_code == 400
    assert not Customer.objects.exists()


def test_who_may_not_act_is_told_so_whatever_the_key(django_user_model):
    client = Client()
    client.force_login(django_user_model.objects.create_user("reader", password="only for tests"))
    for key in ("k", "ä", "x" * 300):
        answer = send(client, key, code="KELD", name="Keld Tailors")
        assert answer.status_code == 403, key
    assert not KeptAnswer.objects.exists()


def test_nobody_is_given_an_answer_without_signing_in(desk):
    send(desk, "k1", code="KELD", name="Keld Tailors")
    assert send(Client(), "k1", code="KELD", name="Keld Tailors").status_code == 401
    assert not Order.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_sent_four_times_at_once_it_is_written_once(planner):
    answers = []

    def ask():
        client = Client()
        client.force_login(planner)
        try:
            answers.append(send(client, "k1", code="KELD", name="Keld Tailors"))
        finally:
            connection.close()

    threads = [Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert [answer.status_code for answer in answers] == [201] * 4
    assert len({answer.content for answer in answers}) == 1
    assert Customer.objects.count() == 1
