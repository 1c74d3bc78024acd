from decimal import Decimal
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
from mill.fields import measured, whole, within
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
    sent = BatchForm(request.POST, auto_id=False) if request.method == "POST" else None
    wrong = ""
    if sent is not None and sent.is_valid():
        said = sent.cleaned_data
        said["pieces"] = sorted(said["pieces"], key=lambda piece: (finishing.due_on(piece), piece.pk))
        try:
            batch = finishing.put_in(by=request.user, **said)
        except Refusal as refusal:
            wrong = refusal.message
        else:
            n = batch.pieces.count()
            are_in = ngettext("%(batch)s: %(n)s piece is in %(step)s.", "%(batch)s: %(n)s pieces are in %(step)s.", n)
            messages.success(request, are_in % {"batch": batch.called, "n": n, "step": batch.step})
            return redirect("batch", number=batch.number)
    elif sent is not None:
        wrong = " ".join(str(error) for errors in sent.errors.values() for error in errors)
    waiting = list(finishing.to_finish())
    rows = []
    for queue in finishing.queues(waiting):
        form = None
        if sent is not None and sent["step"].value() == queue.step:
            form = sent
        elif queue.step not in NOT_STEPS:
            form = BatchForm(initial={"key": uuid4().hex, "step": queue.step}, auto_id=False)
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
            "wrong": wrong,
            "ticked": set(map(whole, request.POST.getlist("pieces"))),
        },
        status=422 if wrong else 200,
    )


def _batch(number: int) -> FinishingBatch:
    rows = FinishingBatch.objects.select_related("worker").prefetch_related(
        "pieces__piece__line__order__customer", "pieces__piece__spec__cloth", "pieces__piece__spec__route_steps"
    )
    return get_object_or_404(rows, number=number)


@require_GET
@room("pieces")
def batch(request: HttpRequest, number: int) -> HttpResponse:
    return _batch_page(request, _batch(number))


def _batch_page(request: HttpRequest, found: FinishingBatch, *, wrong: str = "") -> HttpResponse:
    """With what was typed of its pieces, where that could not be read."""
    return render(
        request,
        "planning/finishing_batch.html",
        {
            "title": found.called,
            "batch": found,
            "rows": [
                {"row": row, **{name: request.POST.get(f"{name}_{row.piece_id}", "") for name in ("width", "length")}}
                for row in found.pieces.all()
            ],
            "hours": finishing.hours_in(found, until=timezone.now()),
            "wrong": wrong,
        },
        status=422 if wrong else 200,
    )


def _size(typed: str, unit: str, places: int) -> Decimal | None:
    """A width or length as somebody measured it; None where nobody did."""
    if not typed.strip():
        return None
    size = Decimal(measured(typed, unit, places))
    within(size, unit, above=0, below=100_000)
    return size


@require_POST
@room("pieces")
def batch_out(request: HttpRequest, number: int) -> HttpResponse:
    found = _batch(number)
    try:
        sizes = {
            row.piece_id: (
                _size(request.POST.get(f"width_{row.piece_id}", ""), "cm", 1),
                _size(request.POST.get(f"length_{row.piece_id}", ""), "m", 2),
            )
            for row in found.pieces.all()
        }
        finishing.take_out(found, by=request.user, sizes=sizes)
    except Refusal as refusal:
        return _batch_page(request, found, wrong=refusal.message)
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
