"""A planner's word on a proposed warp: kept as it is (locked), or its lines kept apart (refused), until taken back.

A ruling never outlives what it is about: a lock is gone once its warp is made, and what is left of a ruling whose
lines wait no more is not looked at.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext

from mill import changes
from mill.refusal import N_, Refusal
from mill.signs import written_now
from planning.models import OrderLine, Ruling, RulingPart, WarpPart
from planning.services import warps
from planning.services.line_states import free_pieces

# (order line, pieces), in the order of weaving.
Parts = Sequence[tuple[int, int]]
# Lines in a sentence.
MOST_NAMED = 8


def standing() -> list[Ruling]:
    """All that were made and not taken back, with their parts and lines."""
    return list(Ruling.objects.select_related("by").prefetch_related("parts__line__order"))


def said_of(ruling: Ruling) -> str:
    """Who ruled, and when, in the language of the page."""
    made = timezone.localtime(ruling.made_at)
    moment = {"day": f"{made:%d}", "month": written_now().months[made.month - 1], "time": f"{made:%H:%M}"}
    at = gettext("%(day)s %(month)s %(time)s") % moment
    if ruling.by is None:
        return at
    return gettext("by %(who)s, %(at)s") % {"who": ruling.by.get_full_name() or ruling.by.get_username(), "at": at}


def _named(lines: Iterable[OrderLine]) -> str:
    """a, b and c; of many the first eight, and how many more."""
    names = [str(line) for line in lines]
    if len(names) > MOST_NAMED:
        more = {"lines": ", ".join(names[:MOST_NAMED]), "n": len(names) - MOST_NAMED}
        return gettext("%(lines)s and %(n)s more") % more
    return gettext(" and ").join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def parts_of(ruling: Ruling) -> list[tuple[int, int]]:
    return [(part.line_id, part.pieces) for part in ruling.parts.all()]


def kept_apart(rulings: Iterable[Ruling]) -> list[frozenset[int]]:
    return [frozenset(part.line_id for part in one.parts.all()) for one in rulings if one.kind == Ruling.APART]


@transaction.atomic
def lock(parts: Parts, *, by: Any, includes_planned: bool = False) -> Ruling:
    """Keep these pieces together on one warp in every later proposal. Told twice, it is one ruling.

    includes_planned    pieces on planned warps that could be combined afresh are free too

    Raises Refusal when pieces are not free any more, are locked already, or when their lines are kept apart.
    """
    lines = _lock_lines(parts)
    rulings = _on(lines)
    for one in rulings:
        if one.kind == Ruling.TOGETHER and sorted(parts_of(one)) == sorted(parts):
            return one
    check([parts], lines, rulings, includes_planned=includes_planned)
    free = waiting_pieces(lines.values(), includes_planned=includes_planned)
    for pk, pieces in parts:
        if not 1 <= pieces <= free[pk]:
            raise Refusal(
                N_(
                    "%(pieces)s pieces of line %(line)s are to be locked, and %(free)s wait for a warp. Look at the"
                    " proposals again."
                ),
                pieces=pieces,
                line=lines[pk],
                free=free[pk],
            )
    return _write(Ruling.TOGETHER, parts, by=by)


@transaction.atomic
def refuse(parts: Parts, *, by: Any) -> Ruling:
    """No two of these lines on one warp in any later proposal. Told twice, it is one ruling."""
    lines = _lock_lines(parts)
    if len(lines) < 2:
        raise Refusal(
            N_("A warp of one line has nothing to be kept apart. Leave it unticked, or put its line on no warp.")
        )
    rulings = _on(lines)
    for one in rulings:
        if one.kind == Ruling.APART and {pk for pk, _ in parts_of(one)} == lines.keys():
            return one
        on_both = [pk for pk, _ in parts_of(one) if pk in lines]
        if one.kind == Ruling.TOGETHER and len(on_both) > 1:
            raise Refusal(
                N_("Lines %(lines)s are locked on one warp (%(said)s). Unlock it first, then they can be kept apart."),
                lines=_named(lines[pk] for pk in on_both),
                said=said_of(one),
            )
    return _write(Ruling.APART, parts, by=by)


@transaction.atomic
def take_back(pk: int, *, by: Any) -> None:
    """Unlock a proposal, or let its lines be proposed together again."""
    ruling = Ruling.objects.select_for_update().filter(pk=pk).first()
    if ruling is None:
        raise Refusal(
            N_("This was taken back already, or its warp has been made. Look at the proposals as they are now.")
        )
    changes.written_by(ruling, by)
    ruling.delete()


def made(wanted: Collection[Parts], *, by: Any) -> None:
    """The warps of these parts are made, in the caller's transaction: their locks have done what they were for."""
    of = {tuple(sorted(parts)) for parts in wanted}
    for ruling in standing():
        if ruling.kind == Ruling.TOGETHER and tuple(sorted(parts_of(ruling))) in of:
            changes.written_by(ruling, by, why="Its warp is made.")
            ruling.delete()


def check(
    wanted: Collection[Parts],
    lines: Mapping[int, OrderLine],
    rulings: Iterable[Ruling] | None = None,
    *,
    includes_planned: bool = False,
) -> None:
    """Raises Refusal, with who ruled and the way out, when a warp goes against a ruling on its lines."""
    rulings = _on(lines) if rulings is None else rulings
    for ruling in rulings:
        if ruling.kind == Ruling.APART:
            _check_apart(ruling, wanted, lines)
    locks = [one for one in rulings if one.kind == Ruling.TOGETHER]
    kept: Counter[int] = Counter()
    asked: Counter[int] = Counter()
    for one in locks:
        if not any(sorted(parts) == sorted(parts_of(one)) for parts in wanted):
            kept.update(dict(parts_of(one)))
    for parts in wanted:
        if not any(sorted(parts) == sorted(parts_of(one)) for one in locks):
            asked.update(dict(parts))
    free = waiting_pieces(lines.values(), includes_planned=includes_planned) if kept else {}
    for pk, pieces in asked.items():
        if kept[pk] and pieces > free[pk] - kept[pk]:
            lock_of = next(one for one in locks if pk in dict(parts_of(one)))
            raise Refusal(
                N_(
                    "%(kept)s of the %(free)s pieces of line %(line)s that wait are on a warp that is locked"
                    " (%(said)s). Unlock it first, or put %(left)s of them on a warp."
                ),
                kept=kept[pk],
                free=free[pk],
                line=lines[pk],
                said=said_of(lock_of),
                left=max(free[pk] - kept[pk], 0),
            )


def _check_apart(ruling: Ruling, wanted: Iterable[Parts], lines: Mapping[int, OrderLine]) -> None:
    apart = {pk for pk, _ in parts_of(ruling)}
    for parts in wanted:
        both = [pk for pk, _ in parts if pk in apart]
        if len(both) > 1:
            raise Refusal(
                N_(
                    "Lines %(lines)s are kept apart (%(said)s). Let them be proposed together again first, or put them"
                    " on different warps."
                ),
                lines=_named(lines[pk] for pk in both),
                said=said_of(ruling),
            )


def waiting_pieces(lines: Iterable[OrderLine], *, includes_planned: bool) -> dict[int, int]:
    """Pieces of each line that wait for a warp; with those on planned warps that could be combined afresh."""
    lines = list(lines)
    free = free_pieces(lines)
    if includes_planned:
        for part in WarpPart.objects.filter(line__in=lines, warp__in=warps.loose_warps()):
            free[part.line_id] += part.pieces
    return free


def _lock_lines(parts: Parts) -> dict[int, OrderLine]:
    ids = {pk for pk, _ in parts}
    lines = {line.pk: line for line in warps.lock_lines(ids)}
    if len(lines) < len(ids):
        raise Refusal(
            N_("%(n)s of these order lines are not in the book any more. Look at the proposals again."),
            n=len(ids) - len(lines),
        )
    return lines


def _on(lines: Iterable[int]) -> list[Ruling]:
    """Rulings that have one of these lines."""
    found = RulingPart.objects.filter(line__in=list(lines)).values("ruling")
    return list(Ruling.objects.filter(pk__in=found).select_related("by").prefetch_related("parts"))


def _write(kind: str, parts: Parts, *, by: Any) -> Ruling:
    ruling = Ruling(kind=kind, by=by, made_at=timezone.now())
    changes.written_by(ruling, by)
    ruling.save(force_insert=True)
    RulingPart.objects.bulk_create(RulingPart(ruling=ruling, line_id=pk, pieces=pieces) for pk, pieces in parts)
    return ruling
