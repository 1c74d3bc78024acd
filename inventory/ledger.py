"""The ledger: what a lot has and what of it is held, line by line. Knows no database, person or warp.

A lot's lines are numbered from 1 and only ever added. Each says what came or went (`change_g`), what was held or let
go (`held_change_g`), and what the lot had after it, so that the last line is the balance whatever the length of the
history. Yarn leaves in two steps, hold then draw: what is held for one warp can't be drawn for another.

    0 <= held_after_g <= on_hand_after_g, on every line
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from mill.refusal import N_, Refusal, Word
from mill.working import W_, Step, Working

RECEIVE, HOLD, RELEASE, DRAW, RETURN = "receive", "hold", "release", "draw", "return"
WASTE, MOVE, CORRECT, COUNT, REVERSE, NOTE = "waste", "move", "correct", "count", "reverse", "note"
KINDS = (RECEIVE, HOLD, RELEASE, DRAW, RETURN, WASTE, MOVE, CORRECT, COUNT, REVERSE, NOTE)

# More than any store holds: what is above it is a slip of the pen, and columns of the database end soon after.
LOT_MAX_G = 1_000_000_000
NARROW_SPACE = "\u202f"


@dataclass(frozen=True, slots=True)
class Balance:
    """What a lot has after its last line. `seq` is that line's number, 0 when there is none."""

    seq: int = 0
    on_hand_g: int = 0
    held_g: int = 0

    @property
    def available_g(self) -> int:
        """Free: on hand and held for nothing."""
        return self.on_hand_g - self.held_g


@dataclass(frozen=True, slots=True)
class Change:
    """What a new line does to a lot."""

    kind: str
    change_g: int = 0
    held_change_g: int = 0


# What the lines of one kind come to together, among the figures of a sum.
TOGETHER = {
    RECEIVE: W_("%(n)s g received"),
    HOLD: W_("%(n)s g held"),
    RELEASE: W_("%(n)s g let go"),
    DRAW: W_("%(n)s g drawn"),
    RETURN: W_("%(n)s g came back"),
    WASTE: W_("%(n)s g waste"),
    CORRECT: W_("%(n)s g corrected"),
    COUNT: W_("%(n)s g counted"),
    REVERSE: W_("%(n)s g taken back"),
}


def working(changes: Mapping[str, tuple[int, int]]) -> tuple[Step, ...]:
    """How a lot's balance came about from its lines.

    changes    by kind of line what all of that kind changed together: on hand, and held; grams

    >>> steps = working({RECEIVE: (9000, 0), HOLD: (0, 4000), DRAW: (-3000, -3000), RETURN: (450, 0)})
    >>> [(step.sum, step.value) for step in steps][:2]
    [('9000 g received − 3000 g drawn + 450 g came back', 6450), ('4000 g held − 3000 g drawn', 1000)]
    >>> steps[2].sum, steps[2].value
    ('6450 g − 1000 g', 5450)
    """
    steps = Working()
    on_hand_g = steps.add(
        sum(change for change, _ in changes.values()),
        name="on_hand_g",
        label=N_("On hand"),
        formula=N_("what came − what went, all lines of the ledger of each kind together"),
        sum=_added({kind: change for kind, (change, _) in changes.items()}),
        unit="g",
        source=N_("the ledger"),
    )
    held_g = steps.add(
        sum(held for _, held in changes.values()),
        name="held_g",
        label=N_("Held for work"),
        formula=N_("what was held − what was let go, drawn or taken back of it"),
        sum=_added({kind: held for kind, (_, held) in changes.items()}),
        unit="g",
        source=N_("the ledger"),
    )
    steps.add(
        on_hand_g - held_g,
        name="available_g",
        label=N_("Free"),
        formula=N_("on hand − held"),
        sum=f"{on_hand_g} g − {held_g} g",
        unit="g",
        source=N_("by definition"),
    )
    return tuple(steps.steps)


def delivery_working(*, ordered_g: int, received_g: Sequence[int], outstanding_g: int) -> tuple[Step, ...]:
    """What is still to come of a delivery.

    received_g       of each of its lots, as its first line has it; without lots that were taken back
    outstanding_g    what the book holds to be still to come

    >>> steps = delivery_working(ordered_g=20_000, received_g=[9000, 4500], outstanding_g=6500)
    >>> [(step.sum, step.value) for step in steps]
    [('9000 g + 4500 g', 13500), ('20000 g − 13500 g', 6500)]
    """
    steps = Working()
    came_g = steps.add(
        sum(received_g),
        name="received_g",
        label=N_("Come"),
        formula=N_("its lots as they were received, at the yarn's own regain"),
        sum=" + ".join(f"{grams} g" for grams in received_g) or "0 g",
        unit="g",
        source=N_("the ledger"),
    )
    steps.add(
        outstanding_g,
        name="outstanding_g",
        label=N_("Still to come"),
        formula=N_("ordered − come; 0 when more has come, or the delivery is closed"),
        sum=f"{ordered_g} g − {came_g} g",
        unit="g",
        source=N_("by definition"),
    )
    return tuple(steps.steps)


def _added(by_kind: Mapping[str, int]) -> str:
    """Each kind in the order of KINDS, what changed nothing left out."""
    text = ""
    for kind in KINDS:
        if grams := by_kind.get(kind, 0):
            sign = "−" if grams < 0 else "+" if text else ""
            text += f" {sign} {TOGETHER[kind] % {'n': abs(grams)}}" if sign else TOGETHER[kind] % {"n": grams}
    return text.strip() or "0 g"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the ledger.

    lot, reservation    who they are: any value that can be compared, a number or a label
    key                 what makes the line count once
    reverses            the key of the line that this one takes back
    """

    lot: int | str
    seq: int
    kind: str
    change_g: int
    on_hand_after_g: int
    held_after_g: int
    held_change_g: int = 0
    reservation: int | str | None = None
    key: str = ""
    reverses: str | None = None

    @property
    def balance(self) -> Balance:
        return Balance(self.seq, self.on_hand_after_g, self.held_after_g)


def follow(before: Balance, change: Change) -> Balance:
    """The balance after one more line. The change has been allowed by the rule of its kind.

    >>> follow(Balance(1, 9000, 0), Change(HOLD, held_change_g=4000))
    Balance(seq=2, on_hand_g=9000, held_g=4000)
    """
    after = Balance(before.seq + 1, before.on_hand_g + change.change_g, before.held_g + change.held_change_g)
    assert 0 <= after.held_g <= after.on_hand_g, f"{change} can't follow {before}"
    return after


# What may be written. Each rule answers with the change, or refuses in words.


def receive(before: Balance, grams: int, *, lot: str) -> Change:
    """Yarn comes in: the first line of a lot."""
    assert before == Balance(), f"lot {lot} has been received"
    nothing = N_("There is nothing to receive: %(grams)s. Write 1 g or more.")
    return Change(RECEIVE, change_g=_at_least_one(grams, nothing))


def hold(before: Balance, grams: int, *, lot: str, for_what: object) -> Change:
    """Keep yarn for something, so that nothing else takes it.

    >>> hold(Balance(1, 9000, 0), 10080, lot="A12", for_what="Warp 118")
    Traceback (most recent call last):
    mill.refusal.Refusal: Lot A12 has 9000 g free; Warp 118 needs 10\u202f080 g. Choose another lot, or ask for less.
    """
    _at_least_one(grams, N_("There is nothing to hold: %(grams)s. Write 1 g or more."))
    if grams > before.available_g:
        raise Refusal(
            N_(
                "Lot %(lot)s has %(free)s free; %(what)s needs %(grams)s. Choose another lot, or let go of some of the"
                " %(held)s that are held, or ask for less."
            )
            if before.held_g
            else N_("Lot %(lot)s has %(free)s free; %(what)s needs %(grams)s. Choose another lot, or ask for less."),
            field="grams",
            lot=lot,
            free=written(before.available_g),
            what=for_what or Word(N_("this")),
            grams=written(grams),
            held=written(before.held_g),
        )
    return Change(HOLD, held_change_g=grams)


def release(before: Balance, *, remaining_g: int, lot: str, for_what: object) -> Change:
    """Let go of what of a hold has not been drawn."""
    if remaining_g == 0:
        raise Refusal(
            N_("Nothing of lot %(lot)s is held for %(what)s any more: 0 g can be let go. Leave it as it is."),
            lot=lot,
            what=for_what,
        )
    assert 0 < remaining_g <= before.held_g
    return Change(RELEASE, held_change_g=-remaining_g)


def draw(before: Balance, grams: int, *, remaining_g: int, lot: str, for_what: object) -> Change:
    """Yarn leaves the store out of its hold; never more than is held."""
    _at_least_one(grams, N_("There is nothing to draw: %(grams)s. Write 1 g or more."))
    if grams > remaining_g:
        raise Refusal(
            N_(
                "%(held)s of lot %(lot)s are held for %(what)s; drawing %(grams)s needs %(more)s more. Hold more first,"
                " or draw %(held)s."
            ),
            field="grams",
            held=written(remaining_g),
            lot=lot,
            what=for_what,
            grams=written(grams),
            more=written(grams - remaining_g),
        )
    assert grams <= before.held_g <= before.on_hand_g
    return Change(DRAW, change_g=-grams, held_change_g=-grams)


def come_back(before: Balance, grams: int, *, at_most_g: int, lot: str, out_of: object) -> Change:
    """Part cones return to the store, weighed.

    at_most_g   what has left and not come back yet
    out_of      where it had gone: "Warp 118", or "the store"
    """
    _at_least_one(grams, N_("There is nothing to bring back: %(grams)s. Write 1 g or more."))
    if grams > at_most_g:
        raise Refusal(
            N_(
                "%(most)s of lot %(lot)s went to %(out_of)s and have not come back; %(grams)s can't come back. Weigh it"
                " again without the cones, or correct the lot."
            ),
            field="grams",
            most=written(at_most_g),
            lot=lot,
            out_of=out_of,
            grams=written(grams),
        )
    _within_reason(before.on_hand_g + grams, lot)
    return Change(RETURN, change_g=grams)


def waste(before: Balance, grams: int, *, lot: str) -> Change:
    """Free yarn is thrown away: spoilt, lost, swept up."""
    _at_least_one(grams, N_("There is nothing to write off: %(grams)s. Write 1 g or more."))
    if grams > before.available_g:
        raise Refusal(
            N_(
                "Lot %(lot)s has %(free)s free; %(grams)s can't be written off. Let go of some of the %(held)s that are"
                " held, or write less."
            )
            if before.held_g
            else N_(
                "Lot %(lot)s has %(free)s free; %(grams)s can't be written off. Weigh it again, or correct the lot."
            ),
            field="grams",
            lot=lot,
            free=written(before.available_g),
            grams=written(grams),
            held=written(before.held_g),
        )
    return Change(WASTE, change_g=-grams)


def correct(before: Balance, *, to_g: int, lot: str, kind: str = CORRECT) -> Change:
    """The book is set to what is there. A count may find what the book has; a correction must change it."""
    assert kind in {CORRECT, COUNT}
    if to_g < 0:
        raise Refusal(
            N_("Lot %(lot)s can't have %(grams)s: write 0 g or more."), field="grams", lot=lot, grams=written(to_g)
        )
    _within_reason(to_g, lot)
    if to_g == before.on_hand_g and kind == CORRECT:
        raise Refusal(
            N_("Lot %(lot)s has %(grams)s in the book and %(grams)s is what you wrote: there is nothing to correct."),
            field="grams",
            lot=lot,
            grams=written(to_g),
        )
    if to_g < before.held_g:
        raise Refusal(
            N_("%(held)s of lot %(lot)s are held; %(grams)s would be less. Let go of %(more)s first."),
            field="grams",
            held=written(before.held_g),
            lot=lot,
            grams=written(to_g),
            more=written(before.held_g - to_g),
        )
    return Change(kind, change_g=to_g - before.on_hand_g)


def reverse(before: Balance, line: Line, *, remaining_g: int, drawn_g: int, lot: str, for_what: object) -> Change:
    """Take a line back, to the gram, with another.

    remaining_g, drawn_g    of the line's reservation: what it still holds, and what of it is out; 0 without one
    """
    if line.kind == REVERSE:
        raise Refusal(
            N_(
                "Line %(line)s of lot %(lot)s takes another line back; it can't be taken back itself. Write the line"
                " that you mean afresh."
            ),
            line=line.seq,
            lot=lot,
        )
    if line.kind != MOVE and line.change_g == line.held_change_g == 0:
        raise Refusal(
            N_("Line %(line)s of lot %(lot)s changed 0 g: there is nothing to take back. Leave it as it is."),
            line=line.seq,
            lot=lot,
        )
    change = Change(REVERSE, change_g=-line.change_g, held_change_g=-line.held_change_g)
    if remaining_g + change.held_change_g < 0:
        raise Refusal(
            N_(
                "%(held)s of lot %(lot)s are still held for %(what)s; taking line %(line)s back lets go of %(grams)s."
                " Take the draws after it back first."
            ),
            held=written(remaining_g),
            lot=lot,
            what=for_what,
            line=line.seq,
            grams=written(-change.held_change_g),
        )
    if line.kind == DRAW and drawn_g < change.change_g:
        raise Refusal(
            N_(
                "%(out)s of lot %(lot)s are still out for %(what)s; taking line %(line)s back needs %(grams)s. Take"
                " back what was returned first."
            ),
            out=written(drawn_g),
            lot=lot,
            what=for_what,
            line=line.seq,
            grams=written(change.change_g),
        )
    on_hand_g, held_g = before.on_hand_g + change.change_g, before.held_g + change.held_change_g
    if on_hand_g < held_g:
        raise Refusal(
            N_(
                "Lot %(lot)s has %(free)s free; taking line %(line)s back needs %(grams)s. Take the later lines back"
                " first, or correct the lot."
            ),
            lot=lot,
            free=written(before.available_g),
            line=line.seq,
            grams=written(before.available_g + held_g - on_hand_g),
        )
    assert held_g >= 0
    _within_reason(on_hand_g, lot)
    return change


def _at_least_one(grams: int, nothing: str) -> int:
    """The grams; refuses, in the words of `nothing`, less than one."""
    assert type(grams) is int, f"the ledger is kept in whole grams, not in {grams!r}"
    if grams < 1:
        raise Refusal(nothing, field="grams", grams=written(grams))
    if grams > LOT_MAX_G:
        raise Refusal(
            N_("%(grams)s is more than any store holds; a lot takes %(most)s at most. Look at the unit."),
            field="grams",
            grams=written(grams),
            most=written(LOT_MAX_G),
        )
    return grams


def _within_reason(on_hand_g: int, lot: str) -> None:
    if on_hand_g > LOT_MAX_G:
        raise Refusal(
            N_("Lot %(lot)s would have %(grams)s; a lot takes %(most)s at most. Look at the unit."),
            field="grams",
            lot=lot,
            grams=written(on_hand_g),
            most=written(LOT_MAX_G),
        )


def written(grams: int) -> str:
    """Grams as a refusal says them: thousands apart from ten thousand up.

    >>> written(9000), written(10080)
    ('9000 g', '10\\u202f080 g')
    """
    text = f"{grams:,}".replace(",", NARROW_SPACE) if abs(grams) >= 10_000 else str(grams)
    return f"{text} g"


# What was written


def replay(lines: Iterable[Line]) -> dict[int | str, Balance]:
    """Balances by lot, added up from the changes alone: what the carried balances are checked against.

    >>> replay([Line("A12", 1, RECEIVE, 9000, 9000, 0), Line("A12", 2, HOLD, 0, 9000, 400, held_change_g=400)])
    {'A12': Balance(seq=2, on_hand_g=9000, held_g=400)}
    """
    balances: dict[int | str, Balance] = defaultdict(Balance)
    for line in lines:
        balances[line.lot] = follow(balances[line.lot], Change(line.kind, line.change_g, line.held_change_g))
    return dict(balances)


def held_by(lines: Iterable[Line]) -> dict[int | str, int]:
    """Grams that each reservation still holds."""
    held: dict[int | str, int] = defaultdict(int)
    for line in lines:
        if line.reservation is not None:
            held[line.reservation] += line.held_change_g
    return dict(held)


# Whether a kind of line brings yarn (1), takes it (-1) or leaves it (0), and the same for what is held.
_SIGNS: dict[str, tuple[set[int], set[int]]] = {
    RECEIVE: ({1}, {0}),
    HOLD: ({0}, {1}),
    RELEASE: ({0}, {-1}),
    DRAW: ({-1}, {-1}),
    RETURN: ({1}, {0}),
    WASTE: ({-1}, {0}),
    MOVE: ({0}, {0}),
    CORRECT: ({1, -1}, {0}),
    COUNT: ({1, 0, -1}, {0}),
    REVERSE: ({1, 0, -1}, {1, 0, -1}),
    NOTE: ({0}, {0}),
}


def check_invariants(lines: Iterable[Line]) -> None:
    """Raise AssertionError with every sentence of `breaches`; nothing when there is none."""
    if found := list(breaches(lines)):
        raise AssertionError("\n".join(found))


def breaches(lines: Iterable[Line]) -> Iterator[str]:
    """What breaks a rule that holds of every ledger, whoever wrote it, in sentences.

    lines    of any number of lots, each lot's in order

    >>> list(breaches([Line("A12", 1, RECEIVE, 9000, 9000, 0), Line("A12", 2, WASTE, -100, 9000, 0)]))
    ['Lot A12 line 2: 9000 g and -100 g make 8900 g on hand; 9000 g is written.']
    """
    last: dict[int | str, Line] = {}
    seen: dict[str, Line] = {}
    taken_back: set[str] = set()
    held: dict[int | str, int] = defaultdict(int)
    out: dict[int | str, int] = defaultdict(int)
    lot_of: dict[int | str, int | str] = {}
    for line in lines:
        where = f"Lot {line.lot} line {line.seq}"
        yield from (f"{where}: {breach}." for breach in _breaches_alone(line))
        before = last[line.lot].balance if line.lot in last else Balance()
        yield from (f"{where}: {breach}." for breach in _breaches_after(line, before))
        yield from (f"{where}: {breach}." for breach in _breaches_reversing(line, seen, taken_back))
        if line.reservation is not None:
            if lot_of.setdefault(line.reservation, line.lot) != line.lot:
                yield f"{where}: its hold is on lot {lot_of[line.reservation]}."
            held[line.reservation] += line.held_change_g
            # Only draws, returns and what takes them back belong to a hold and move yarn.
            out[line.reservation] -= line.change_g
            if held[line.reservation] < 0:
                yield f"{where}: {-held[line.reservation]} g more left its hold than were held."
            if out[line.reservation] < 0:
                yield f"{where}: {-out[line.reservation]} g more came back than were drawn."
        elif line.held_change_g:
            yield f"{where}: {line.held_change_g} g are held for nothing."
        if line.key in seen:
            yield f"{where}: its key stands on another line too."
        if line.key:
            seen[line.key] = line
        last[line.lot] = line
    held_of_lot: dict[int | str, int] = defaultdict(int)
    for reservation, grams in held.items():
        held_of_lot[lot_of[reservation]] += grams
    for lot, line in last.items():
        if held_of_lot[lot] != line.held_after_g:
            yield f"Lot {lot}: its holds come to {held_of_lot[lot]} g; {line.held_after_g} g is written."


def _breaches_alone(line: Line) -> Iterator[str]:
    if line.kind not in KINDS:
        yield f"no line is of the kind {line.kind}"
        return
    if (line.kind == RECEIVE) != (line.seq == 1):
        yield "a lot begins by being received, once"
    for signs, change_g in zip(_SIGNS[line.kind], (line.change_g, line.held_change_g), strict=True):
        if (change_g > 0) - (change_g < 0) not in signs:
            yield f"a {line.kind} can't change {change_g} g"
    if line.kind == DRAW and line.change_g != line.held_change_g:
        yield f"{-line.change_g} g are drawn and {-line.held_change_g} g of them were held"
    if not 0 <= line.held_after_g <= line.on_hand_after_g:
        yield f"{line.held_after_g} g are held of {line.on_hand_after_g} g on hand"


def _breaches_after(line: Line, before: Balance) -> Iterator[str]:
    if line.seq != before.seq + 1:
        yield f"it follows line {before.seq}"
    for was_g, change_g, after_g, where in (
        (before.on_hand_g, line.change_g, line.on_hand_after_g, "on hand"),
        (before.held_g, line.held_change_g, line.held_after_g, "held"),
    ):
        if was_g + change_g != after_g:
            yield f"{was_g} g and {change_g} g make {was_g + change_g} g {where}; {after_g} g is written"


def _breaches_reversing(line: Line, seen: dict[str, Line], taken_back: set[str]) -> Iterator[str]:
    if (line.kind == REVERSE) != (line.reverses is not None):
        yield "only a line that takes back says which"
    if line.reverses is None:
        return
    if line.reverses in taken_back:
        yield "what it takes back has been taken back already"
    taken_back.add(line.reverses)
    first = seen.get(line.reverses)
    if first is None:
        yield "what it takes back has not been written"
    elif (line.lot, line.reservation, line.change_g, line.held_change_g) != (
        first.lot,
        first.reservation,
        -first.change_g,
        -first.held_change_g,
    ):
        yield f"it is not line {first.seq} the other way round"
