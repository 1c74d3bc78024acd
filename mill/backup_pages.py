"""The page of backups, the owner's alone: which there are, one to be written now, one to be taken away elsewhere."""

from typing import Any

from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from mill import backup, jobs
from mill.desk import room
from mill.limits import BACKUPS, limited
from mill.retold import told_again


@room("mill")
@require_http_methods(["GET", "POST"])
@limited(BACKUPS)
def backups(request: HttpRequest) -> HttpResponse:
    if request.method == "POST":
        backup.ask(by=request.user)
        messages.success(request, _("A backup is being written. It appears here once it is whole."))
        return redirect("backups")
    last_given_up = jobs.given_up(backup.TASK).order_by("-pk").first()
    context: dict[str, Any] = {
        "title": _("Backups"),
        "kept": [(path.name, backup.moment_of(path), path.stat().st_size) for path in backup.all_kept()],
        "folder": backup.folder(),
        "is_pending": jobs.is_pending(backup.TASK),
        "given_up": told_again(last_given_up.why_given_up) if last_given_up else "",
    }
    return render(request, "mill/backups.html", context)


@room("mill")
@require_GET
def backup_file(request: HttpRequest, name: str) -> Any:
    kept = {path.name: path for path in backup.all_kept()}
    if name not in kept:
        raise Http404
    answer = FileResponse(kept[name].open("rb"), as_attachment=True, filename=name, content_type="application/zip")
    answer["Cache-Control"] = "no-store"
    return answer


urlpatterns = [
    path("mill/backups/", backups, name="backups"),
    path("mill/backups/<str:name>", backup_file, name="backup_file"),
]
