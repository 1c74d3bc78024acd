"""Whether the book answers, for whatever looks after its processes: no sign-in, no secrets, no names."""

import tempfile
from datetime import timedelta
from pathlib import Path

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.urls import path
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from mill import jobs

LYING_LONG = timedelta(minutes=1)
# Of this container, or this machine, and gone with it. `manage.py send_away` writes it.
LEAVING = Path(tempfile.gettempdir()) / "shedbook-leaving"
_migrated = False


@require_safe
@never_cache
@login_not_required
def healthz(request: HttpRequest) -> JsonResponse:
    """The process answers; nothing else is asked."""
    return JsonResponse({"health": "well"})


@require_safe
@never_cache
@login_not_required
def readyz(request: HttpRequest) -> JsonResponse:
    """Whether people can be sent here: the database answers and its tables are this program's. 503 when not.

    `work` says how many jobs have lain for over a minute. That is a matter for the workers, and no reason to send
    people away. A server that is about to be closed says no as well, and answers whoever comes all the same.
    """
    try:
        said = "its tables are up to date" if _is_migrated() else "its tables are not up to date: run manage.py migrate"
        ready = said == "its tables are up to date"
        work = {"lying": jobs.left_lying(since=LYING_LONG)} if ready else {}
        ready = ready and not LEAVING.exists()
    except DatabaseError:
        said, ready, work = "it does not answer", False, {}
    return JsonResponse({"ready": ready, "database": said, "work": work}, status=200 if ready else 503)


def _is_migrated() -> bool:
    """Looked up until it is so; a process is begun anew after a migration."""
    global _migrated
    if not _migrated:
        executor = MigrationExecutor(connection)
        _migrated = not executor.migration_plan(executor.loader.graph.leaf_nodes())
    else:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    return _migrated


urlpatterns = [path("healthz", healthz, name="healthz"), path("readyz", readyz, name="readyz")]
