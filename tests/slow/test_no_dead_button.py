"""No page of the example mill shows somebody whose roles may not send it a button to press or a field to fill in."""

import re
from io import StringIO

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import Resolver404, resolve

from mill import roles
from mill.bench.every_page import every_page, write_the_rest
from tests.make import make_person

pytestmark = [pytest.mark.slow, pytest.mark.django_db]

FORM = re.compile(r"<form\b([^>]*)>(.*?)</form>", re.DOTALL)
BUTTON = re.compile(r"<button\b[^>]*>(.*?)</button>", re.DOTALL)
FIELD = re.compile(r"<(?:input|select|textarea)\b([^>]*)>")


def dead_ends(client, held, address):
    """What a page offers to fill in and to send there, where these roles are refused."""
    answer = client.get(address)
    if answer.status_code != 200:
        return []
    dead = []
    for how, inside in FORM.findall(answer.content.decode()):
        to = re.search(r'action="([^"?#]+)', how)
        try:
            name = resolve(to[1] if to else address.partition("?")[0]).url_name
        except Resolver404:
            continue
        if 'method="post"' in how and not roles.may(held, name, "POST"):
            dead += [" ".join(re.sub("<[^>]+>", "", said).split()) for said in BUTTON.findall(inside)]
            dead += [said for said in FIELD.findall(inside) if 'type="hidden"' not in said and " disabled" not in said]
    return dead


def test_nobody_is_shown_a_button_that_refuses_them(planner):
    call_command("example_mill", stdout=StringIO())
    write_the_rest(planner)
    addresses = [address for there in every_page().values() for address in there]
    found = {}
    for role in roles.ROLES:
        client = Client()
        client.force_login(make_person(f"only a {role}", role))
        for address in addresses:
            if dead := dead_ends(client, {role}, address):
                found[role, address] = dead
    assert found == {}
