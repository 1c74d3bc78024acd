from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from mill.desk import room
from mill.fields import measured
from mill.models import Mill
from mill.refusal import Refusal
from planning.forms.pieces import BatchForm
from planning.models import FinishingBatch
from planning.services import finishing

NOT_STEPS = (finishing.GREY_PERCH, finishing.MENDERS, finishing.FINAL_PERCH)


@require_http_methods(["GET", "POST"])
@room("pieces")
def queues(request: HttpRequest) -> HttpResponse:
    """What waits for the perch, the menders and each step; pieces are put into a step together from here."""
    waiting = list(finishing.to_finish())
    rows = []
    sent_step = request.POST.get("step", "") if request.method == "POST" else ""
    for queue in finishing.queues(waiting):
        form = None
        if queue.step not in NOT_STEPS:
            data = request.POST if queue.step == sent_step else None
            form = BatchForm(
                data, waiting=list(queue.pieces), initial={"key": uuid4().hex, "step": queue.step}, auto_id=False
            )
            if data is not None and form.is_valid():
                said = form.cleaned_data
                chosen = {piece.pk for piece in said["pieces"]}
                try:
                    batch = finishing.put_in(
                        [piece for piece in queue.pieces if piece.pk in chosen],
                        step=queue.step,
                        by=request.user,
                        key=said["key"],
                        worker=said["worker"],
                        note=said["note"],
                    )
                except Refusal as refusal:
                    form.add_error(None, refusal.message)
                else:
                    said_of = {"batch": batch.called, "n": len(chosen), "step": batch.step}
                    are_in = ngettext(
                        "%(batch)s: %(n)s piece is in %(step)s.",
                        "%(batch)s: %(n)s pieces are in %(step)s.",
                        len(chosen),
                    )
                    messages.success(request, are_in % said_of)
                    return redirect("batch", number=batch.number)
        rows.append({"queue": queue, "form": form})
    return render(
        request,
        "planning/finishing.html",
        {
            "title": _("Finishing"),
            "queues": rows,
            "batches": finishing.open_batches(),
            "mending": finishing.mending_queue(waiting),
            "mending_min_per_day": Mill.the_one().mending_min_per_day,
            "is_wrong": bool(sent_step),
        },
        status=422 if sent_step else 200,
    )


def _batch(number: int) -> FinishingBatch:
    rows = FinishingBatch.objects.select_related("worker").prefetch_related(
        "pieces__piece__line__order__customer", "pieces__piece__spec__cloth", "pieces__piece__spec__route_steps"
    )
    return get_object_or_404(rows, number=number)


@require_GET
@room("pieces")
def batch(request: HttpRequest, number: int) -> HttpResponse:
    found = _batch(number)
    return render(
        request,
        "planning/finishing_batch.html",
        {"title": found.called, "batch": found, "hours": finishing.hours_in(found, until=timezone.now())},
    )


@require_POST
@room("pieces")
def batch_out(request: HttpRequest, number: int) -> HttpResponse:
    found = _batch(number)
    sizes = {}
    try:
        for row in found.pieces.all():
            width, length = (request.POST.get(f"{name}_{row.piece_id}", "").strip() for name in ("width", "length"))
            sizes[row.piece_id] = (
                measured(width, "cm", 1) if width else None,
                measured(length, "m", 2) if length else None,
            )
        finishing.take_out(found, by=request.user, sizes=sizes)  # type: ignore[arg-type]
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("batch", number=number)
    messages.success(request, _("%(batch)s is out of %(step)s.") % {"batch": found.called, "step": found.step})
    return redirect("finishing")


@require_POST
@room("pieces")
def batch_undo(request: HttpRequest, number: int) -> HttpResponse:
    found = _batch(number)
    try:
        finishing.undo_batch(found, why=request.POST.get("why", ""), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.message)
        return redirect("batch", number=number)
    said = _("%(batch)s was not put in; its pieces stand where they stood.") % {"batch": found.called}
    messages.success(request, said)
    return redirect("finishing")


urlpatterns = [
    path("finishing/", queues, name="finishing"),
    path("finishing/batches/<int:number>/", batch, name="batch"),
    path("finishing/batches/<int:number>/out/", batch_out, name="batch_out"),
    path("finishing/batches/<int:number>/undo/", batch_undo, name="batch_undo"),
]
