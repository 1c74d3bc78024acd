"""States of order lines: each follows its warps and pieces. And how many of its pieces wait for a warp."""

from collections import Counter, defaultdict
from collections.abc import Iterable

from django.db.models import Count, Exists, OuterRef, QuerySet, Sum

from planning.models import OrderLine, Piece, Warp, WarpPart

IN_LOOM = (Warp.GAITED, Warp.WEAVING)
STAGES = [
    OrderLine.ENTERED,
    OrderLine.ON_A_WARP,
    OrderLine.IN_LOOM,
    OrderLine.GREY,
    OrderLine.FINISHING,
    OrderLine.READY,
    OrderLine.SENT,
]
STAGE_OF_PIECE = {
    Piece.GREY: OrderLine.GREY,
    Piece.FINISHING: OrderLine.FINISHING,
    Piece.READY: OrderLine.READY,
    Piece.SENT: OrderLine.SENT,
}


def _stage_on(warp_state: str) -> str:
    if warp_state == Warp.WOVEN_OUT:
        return OrderLine.GREY
    return OrderLine.IN_LOOM if warp_state in IN_LOOM else OrderLine.ON_A_WARP


def parts_there(line_ids: Iterable[int]) -> QuerySet[WarpPart]:
    """Parts of these lines on warps that have, or will have, pieces for them.

    Of a warp that is woven out, with pieces recorded and none of them the line's, it has nothing any more: they never
    came, became seconds, or were put to other lines.
    """
    came = Piece.objects.filter(warp=OuterRef("warp"))
    is_bare = Exists(came) & ~Exists(came.filter(line=OuterRef("line")))
    return WarpPart.objects.filter(line__in=set(line_ids)).exclude(is_bare, warp__state=Warp.WOVEN_OUT)


def pieces_elsewhere(line_ids: Iterable[int]) -> Counter[int]:
    """Pieces of each line that came off no warp that it is on: off no warp of this book, or woven for another line."""
    on = WarpPart.objects.filter(line=OuterRef("line"), warp=OuterRef("warp"))
    rows = Piece.objects.filter(~Exists(on), line__in=set(line_ids)).values("line").annotate(n=Count("pk")).order_by()
    return Counter({row["line"]: row["n"] for row in rows})


def lines_follow(line_ids: Iterable[int]) -> None:
    """Set each line's state to that of its hindmost piece; in the caller's transaction. Called off lines stay so.

    A piece that nobody has recorded yet stands where its warp does. Of a warp that is woven out, with some pieces of
    the line recorded, the others are taken never to have come.
    """
    lines = list(OrderLine.objects.filter(pk__in=set(line_ids)).exclude(state=OrderLine.CALLED_OFF).order_by("pk"))
    parts = defaultdict(list)
    for part in parts_there(line.pk for line in lines).values("line", "warp", "warp__state", "pieces"):
        parts[part["line"]].append(part)
    elsewhere = pieces_elsewhere(line.pk for line in lines)
    recorded: dict[int, Counter[int | None]] = defaultdict(Counter)
    stages: dict[int, set[str]] = defaultdict(set)
    for row in Piece.objects.filter(line__in=lines).values("line", "warp", "state").annotate(n=Count("pk")):
        recorded[row["line"]][row["warp"]] += row["n"]
        stages[row["line"]].add(STAGE_OF_PIECE[row["state"]])
    for line in lines:
        there = stages[line.pk]
        seen = recorded[line.pk]
        for part in parts[line.pk]:
            woven = seen[part["warp"]]
            if woven < part["pieces"] and not (woven and part["warp__state"] == Warp.WOVEN_OUT):
                there.add(_stage_on(part["warp__state"]))
        on_warps = sum(part["pieces"] for part in parts[line.pk])
        if on_warps + elsewhere[line.pk] < line.pieces or not there:
            there.add(OrderLine.ENTERED)
        state = min(there, key=STAGES.index)
        if state != line.state:
            OrderLine.objects.filter(pk=line.pk).update(state=state)


def free_pieces(lines: Iterable[OrderLine]) -> dict[int, int]:
    """Pieces of each line that are on no warp, and not woven elsewhere."""
    by_pk = {line.pk: line.pieces for line in lines}
    for row in parts_there(by_pk).values("line").annotate(n=Sum("pieces")).order_by():
        by_pk[row["line"]] -= row["n"]
    for pk, n in pieces_elsewhere(by_pk).items():
        by_pk[pk] -= n
    return {pk: max(0, n) for pk, n in by_pk.items()}
