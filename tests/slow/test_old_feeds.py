"""A book from before feeds were rows: its calendars' addresses go on."""

import hmac

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.test import Client

from mill import changes
from mill.models import Change
from planning.models import FeedLink
from planning.services import feeds
from tests.make import make_loom

BEFORE = [("mill", "0013_token_roles"), ("planning", "0007_changes_begin")]
KEY = "0123456789abcdef0123456789abcdef"


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_addresses_from_before_feeds_were_rows_still_open_until_withdrawn():
    """The address that the first day's code gave out: an HMAC of the mill's key over what it was of."""
    make_loom(code="7")
    executor = MigrationExecutor(connection)
    newest = executor.loader.graph.leaf_nodes()
    try:
        executor.migrate(BEFORE)
        mill = executor.loader.project_state(BEFORE).apps.get_model("mill", "Mill")
        mill.objects.update_or_create(pk=1, defaults={"calendar_key": KEY})
    finally:
        MigrationExecutor(connection).migrate(newest)
        changes.guard()
    shed, loom = (hmac.new(KEY.encode(), what.encode(), "sha256").hexdigest()[:32] for what in ("shed", "7"))
    assert Client().get(f"/calendar/{shed}/shed.ics").status_code == 200
    assert Client().get(f"/calendar/{loom}/loom/7.ics").status_code == 200
    assert Client().get(f"/calendar/{shed}/loom/7.ics").status_code == 404
    assert [(link.what, link.user) for link in FeedLink.objects.order_by("pk")] == [("shed", None), ("loom", None)]
    assert Change.objects.filter(kind="planning.feedlink").count() == 2
    owner = get_user_model().objects.create_user("owner", is_superuser=True)
    feeds.withdraw_link(FeedLink.objects.get(what="shed"), by=owner)
    assert Client().get(f"/calendar/{shed}/shed.ics").status_code == 404
    assert Client().get(f"/calendar/{loom}/loom/7.ics").status_code == 200
