"""Cloths: written down, revised by numbered revisions, and what a revision would change before it is one."""

import hashlib
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F, OuterRef, Prefetch, QuerySet, Subquery
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.draw import listed
from inventory.models import Yarn
from inventory.services import Foreseen
from mill import changes, meanwhile
from mill.models import Mill
from mill.refusal import N_, Refusal, in_words
from mill.retold import told_again
from mill.signs import written_now
from planning import cloth as cloth_room
from planning import weave
from planning.models import Cloth, ClothSpec, Colourway, ColourwayYarn, JobTicket, OrderLine, RouteStep, Warp, WarpPart
from planning.services import working_out
from planning.services.foresight import WarpThen, foresee_warps
from planning.ticket import ClothFigures, Figures, Run, work_out_cloth

# What a revision says of itself: (column, what the trade calls it, unit), in the order of the form.
SAID: tuple[tuple[str, str, str], ...] = (
    ("finished_width_cm", N_("Finished width"), "cm"),
    ("reed_dents_per_10cm", N_("Reed"), N_("dents per 10 cm")),
    ("ends_per_dent", N_("Ends per dent"), ""),
    ("selvedge_ends", N_("Selvedge ends"), ""),
    ("selvedge_letter", N_("Selvedge yarn"), ""),
    ("whole_repeats", N_("Whole repeats"), ""),
    ("loom_picks_per_cm", N_("Picks in the loom"), N_("per cm")),
    ("weaving_contraction_pct", N_("Weaving contraction"), "%"),
    ("warp_crimp_pct", N_("Warp crimp"), "%"),
    ("warp_waste_pct", N_("Warp waste"), "%"),
    ("weft_waste_pct", N_("Weft waste"), "%"),
    ("size_add_on_pct", N_("Size add-on"), "%"),
    ("warp_order", N_("Warp order"), ""),
    ("weft_order", N_("Weft order"), ""),
    ("threading", N_("Threading"), ""),
    ("lifting", N_("Lifting"), ""),
    ("finishing_days", N_("Finishing days"), ""),
)
NONE = N_("none")
COLUMNS = tuple(name for name, _label, _unit in SAID)
# Written in more ways than one; two texts that read alike are no difference.
NOTATIONS: dict[str, Callable[[str], object]] = {
    "warp_order": cloth_room.read_order,
    "weft_order": cloth_room.read_order,
    "threading": weave.read_threading,
    "lifting": weave.read_lifting,
}


@dataclass(frozen=True)
class ColourwayDraft:
    """A colourway in a revision: the yarn at each letter. `colourway_id` is None for a new one."""

    name: str
    yarns: Mapping[str, Yarn]
    colourway_id: int | None = None


@dataclass(frozen=True)
class SpecDraft:
    """What a revision is to say, before it is written.

    columns       those of ClothSpec that are named in COLUMNS
    route         finishing, in order
    colourways    one that has no yarns is left out of the revision
    """

    columns: Mapping[str, Any]
    route: Sequence[cloth_room.RouteStep]
    colourways: Sequence[ColourwayDraft]
    letters: tuple[str, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "letters", letters_used(self.columns))

    @property
    def made(self) -> list[ColourwayDraft]:
        """The colourways that the revision is made in."""
        return [colourway for colourway in self.colourways if colourway.yarns]


def letters_used(columns: Mapping[str, Any]) -> tuple[str, ...]:
    """Letters that the orders and the selvedges use, in the order of the alphabet."""
    used = {
        stripe.letter
        for name in ("warp_order", "weft_order")
        for stripe in cloth_room.read_order(columns[name], field=name)
    }
    return tuple(sorted(used | set(columns.get("selvedge_letter") or "")))


def with_yarns(specs: QuerySet[ClothSpec]) -> QuerySet[ClothSpec]:
    """Revisions with their route and the yarns of their colourways: a constant number of queries."""
    entries = ColourwayYarn.objects.select_related("yarn", "colourway")
    return specs.select_related("by", "cloth").prefetch_related("route_steps", Prefetch("colourway_yarns", entries))


def latest_of(cloth: Cloth) -> ClothSpec | None:
    """The cloth's latest revision, with everything that it is worked out from."""
    return with_yarns(cloth.specs.order_by("-revision")).first()


def draft_of(spec: ClothSpec) -> SpecDraft:
    """A written revision as a draft: to begin the next from, and to compare with. `spec` comes from with_yarns()."""
    yarns: dict[int, dict[str, Yarn]] = {}
    names: dict[int, str] = {}
    for entry in spec.colourway_yarns.all():
        yarns.setdefault(entry.colourway_id, {})[entry.letter] = entry.yarn
        names[entry.colourway_id] = entry.colourway.name
    return SpecDraft(
        columns={name: getattr(spec, name) for name in COLUMNS},
        route=[step.as_step() for step in spec.route_steps.all()],
        colourways=[ColourwayDraft(names[pk], yarns[pk], pk) for pk in sorted(yarns, key=names.__getitem__)],
    )


# Figures


def mark_of(spec: ClothSpec) -> str:
    """What tells a revision as it stands from every other, and from itself before it was corrected: 3-5f1c."""
    draft = draft_of(spec)
    said = (
        sorted((name, _word(value)) for name, value in draft.columns.items()),
        _route(draft.route),
        sorted(
            (one.name, sorted((letter, yarn.code) for letter, yarn in one.yarns.items())) for one in draft.colourways
        ),
    )
    return f"{spec.revision}-{hashlib.sha256(repr(said).encode()).hexdigest()[:12]}"


def _check_unmoved(current: ClothSpec, seen: str | None) -> None:
    if seen is None or seen == (mark := mark_of(current)):
        return
    by_somebody = N_(
        "%(code)s was changed meanwhile by %(who)s; its revision %(n)s is another than this was written from. Look at"
        " revision %(n)s, then revise that."
    )
    by_nobody = N_(
        "%(code)s was changed meanwhile; its revision %(n)s is another than this was written from. Look at revision"
        " %(n)s, then revise that."
    )
    raise meanwhile.Meanwhile(
        current,
        version=mark,
        message=by_somebody if current.by else by_nobody,
        code=current.cloth.code,
        who=meanwhile.name_of(current.by),
        n=current.revision,
    )


@lru_cache(maxsize=512)
def figures_of(cloth: cloth_room.Cloth) -> ClothFigures:
    """The cloth worked out; kept, since a list of cloths asks for the same ones again and again."""
    return work_out_cloth(cloth)


def latest_specs() -> QuerySet[ClothSpec]:
    """Of each cloth the revision with the highest number."""
    last = ClothSpec.objects.filter(cloth=OuterRef("cloth")).order_by("-revision").values("pk")[:1]
    return ClothSpec.objects.alias(last=Subquery(last)).filter(pk=F("last"))


def as_cloths(draft: SpecDraft, *, cloth: Cloth, revision: int) -> dict[str, cloth_room.Cloth]:
    """The draft as numbers, by colourway; every rule of cloth, weave and setting has looked at it.

    Raises Refusal with the field it belongs beside: a column, `route`, `colourways`, or for one cell of the table
    of yarns `colourways.2.B`, colourways counted from 0.
    """
    if not draft.made:
        raise Refusal(
            N_("%(code)s has no colourway yet. Name one, and put a yarn at each of %(letters)s."),
            field="colourways",
            code=cloth.code,
            letters=", ".join(draft.letters),
        )
    _check_names(draft, cloth=cloth)
    spec = ClothSpec(cloth=cloth, revision=revision, **draft.columns)
    found: dict[str, cloth_room.Cloth] = {}
    for number, colourway in enumerate(draft.colourways):
        if not colourway.yarns:
            continue
        for letter in draft.letters:
            if letter not in colourway.yarns:
                raise Refusal(
                    N_("Colourway %(name)s has no yarn at %(letter)s; the orders use %(letters)s."),
                    field=f"colourways.{number}.{letter}",
                    name=colourway.name,
                    letter=letter,
                    letters=", ".join(draft.letters),
                )
        yarns = {letter: colourway.yarns[letter] for letter in draft.letters}
        made = spec.made_of(route=tuple(draft.route), yarns=yarns)
        figures_of(made)
        found[colourway.name] = made
    return found


def _check_names(draft: SpecDraft, *, cloth: Cloth) -> None:
    taken: dict[str, str] = {}
    if cloth.pk:
        drafted = {colourway.colourway_id for colourway in draft.colourways}
        written = dict(cloth.colourways.values_list("pk", "name"))
        if gone := sorted(one.name.strip() for one in draft.colourways if one.colourway_id not in {None, *written}):
            raise Refusal(
                N_("Colourway %(name)s is not of this cloth any more. Read the page again."),
                field="colourways",
                name=gone[0],
            )
        taken = {name.casefold(): name for pk, name in written.items() if pk not in drafted}
    for number, colourway in enumerate(draft.colourways):
        name = colourway.name.strip()
        if not name:
            raise Refusal(N_("A colourway has no name. Write one above its yarns."), field=f"colourways.{number}.name")
        if name.casefold() in taken:
            raise Refusal(
                N_("Two colourways are called %(name)s. Give one of them another name."),
                field=f"colourways.{number}.name",
                name=taken[name.casefold()],
            )
        taken[name.casefold()] = name


# Writing


@transaction.atomic
def new_cloth(*, code: str, name: str, draft: SpecDraft, by: Any, note: str = "") -> ClothSpec:
    """A cloth with its first revision and its colourways: all of it, or nothing."""
    cloth = Cloth(code=code.strip(), name=name.strip())
    _check_cloth(cloth)
    as_cloths(draft, cloth=cloth, revision=1)
    changes.written_by(cloth, by)
    cloth.save()
    return _write(ClothSpec(cloth=cloth, revision=1, note=note, by=by), draft)


@transaction.atomic
def change_cloth(cloth: Cloth, *, code: str, name: str, is_in_use: bool, by: Any, seen: str | None = None) -> Cloth:
    """Another code or name, or put away. The figures of its warps carry the name, so they are worked out again.

    seen    the version that was changed; refused when another stands
    """
    meanwhile.unmoved(cloth, seen)
    cloth = Cloth.objects.select_for_update(of=("self",), no_key=True).get(pk=cloth.pk)
    open_lines = OrderLine.objects.open().filter(cloth=cloth).count()
    if cloth.is_in_use and not is_in_use and open_lines:
        one = N_("%(code)s has 1 open order line. Weave or call them off first.")
        several = N_("%(code)s has %(n)s open order lines. Weave or call them off first.")
        raise Refusal(one if open_lines == 1 else several, field="is_in_use", code=cloth.code, n=open_lines)
    is_renamed = (cloth.code, cloth.name) != (code.strip(), name.strip())
    cloth.code, cloth.name, cloth.is_in_use = code.strip(), name.strip(), is_in_use
    _check_cloth(cloth)
    changes.written_by(cloth, by)
    cloth.save(update_fields=["code", "name", "is_in_use"])
    if is_renamed:
        working_out.spec_changed(cloth)
    return cloth


@transaction.atomic
def revise(
    cloth: Cloth, draft: SpecDraft, *, by: Any, note: str = "", based_on: int | None = None, seen: str | None = None
) -> ClothSpec:
    """A new numbered revision. Warps that no yarn is drawn for follow it; tickets from older ones are overtaken.

    based_on    the revision that whoever wrote the draft had before them
    seen        the same to the letter, by its `mark_of`

    Raises Refusal when somebody else has revised the cloth meanwhile, when nothing differs, when the draft can't be
    woven, when a colourway that is on order is left out.
    """
    # The cloth's row is the gate: two revisions at once take their numbers one after the other.
    cloth = Cloth.objects.select_for_update(of=("self",), no_key=True).get(pk=cloth.pk)
    current = _current(cloth)
    if based_on is not None and based_on != current.revision:
        by_somebody = N_(
            "%(code)s has meanwhile become revision %(now)s by %(who)s; this was written from revision %(seen)s. Look"
            " at revision %(now)s, then revise that."
        )
        by_nobody = N_(
            "%(code)s has meanwhile become revision %(now)s; this was written from revision %(seen)s. Look at revision"
            " %(now)s, then revise that."
        )
        raise Refusal(
            by_somebody if current.by else by_nobody,
            code=cloth.code,
            now=current.revision,
            seen=based_on,
            who=current.by,
        )
    _check_unmoved(current, seen)
    if not differences(draft_of(current), draft):
        raise Refusal(
            N_("Nothing here differs from revision %(revision)s of %(code)s."),
            revision=current.revision,
            code=cloth.code,
        )
    revision = current.revision + 1
    as_cloths(draft, cloth=cloth, revision=revision)
    _check_left_out(cloth, draft)
    spec = _write(ClothSpec(cloth=cloth, revision=revision, note=note, by=by), draft)
    # First the lines, then the warps, each by primary key, as all who combine or draw yarn lock them: they wait, and
    # then find the new revision; or we wait, and then find what they put on a warp.
    lines = OrderLine.objects.open().filter(cloth=cloth).order_by("pk")
    list(lines.select_for_update(of=("self",), no_key=True).values_list("pk", flat=True))
    following = Warp.objects.follows_revisions().filter(
        pk__in=WarpPart.objects.filter(spec__cloth=cloth).values("warp")
    )
    warps = list(following.select_for_update(of=("self",), no_key=True).order_by("pk").values_list("pk", flat=True))
    WarpPart.objects.filter(warp__in=warps, spec__cloth=cloth).update(spec=spec)
    _overtake(spec)
    working_out.spec_changed(cloth)
    return spec


@transaction.atomic
def edit_spec(spec: ClothSpec, draft: SpecDraft, *, by: Any, note: str = "", seen: str | None = None) -> ClothSpec:
    """Correct a revision that nothing stands on yet. Raises Refusal for one in use and for one that was followed.

    seen    the `mark_of` what was corrected; refused when another stands
    """
    cloth = Cloth.objects.select_for_update(of=("self",), no_key=True).get(pk=spec.cloth_id)
    current = _current(cloth)
    _check_unmoved(current, seen)
    if current.pk != spec.pk:
        raise Refusal(
            N_("Revision %(revision)s of %(code)s has been followed by revision %(now)s. Revise that."),
            revision=spec.revision,
            code=cloth.code,
            now=current.revision,
        )
    if uses := what_stands_on(spec):
        raise Refusal(
            N_("Revision %(revision)s of %(code)s is in use: %(uses)s. Write revision %(next)s instead."),
            revision=spec.revision,
            code=cloth.code,
            uses=uses,
            next=spec.revision + 1,
        )
    as_cloths(draft, cloth=cloth, revision=spec.revision)
    _check_left_out(cloth, draft)
    current.note, current.by = note, by
    return _write(current, draft)


@transaction.atomic
def add_colourway(cloth: Cloth, *, name: str, yarns: Mapping[str, Yarn], by: Any) -> Colourway:
    """One more colourway of the current revision, as it stands: nothing that is woven changes."""
    cloth = Cloth.objects.select_for_update(of=("self",), no_key=True).get(pk=cloth.pk)
    current = _current(cloth)
    written = draft_of(current)
    draft = SpecDraft(written.columns, written.route, [ColourwayDraft(name.strip(), yarns)])
    as_cloths(draft, cloth=cloth, revision=current.revision)
    colourway = Colourway(cloth=cloth, name=name.strip())
    changes.written_by(colourway, by)
    colourway.save(force_insert=True)
    _write_yarns(current, {colourway: yarns}, draft, by=by)
    return colourway


@transaction.atomic
def rename_colourway(colourway: Colourway, *, name: str, by: Any, seen: str | None = None) -> Colourway:
    meanwhile.unmoved(colourway, seen)
    name = name.strip()
    if not name:
        raise Refusal(N_("Colourway %(colourway)s needs a name."), field="name", colourway=colourway)
    others = Colourway.objects.filter(cloth=colourway.cloth_id, name__iexact=name).exclude(pk=colourway.pk)
    if others.exists():
        raise Refusal(
            N_("Another colourway of %(code)s is called %(name)s."), field="name", code=colourway.cloth.code, name=name
        )
    colourway.name = name
    changes.written_by(colourway, by)
    colourway.save(update_fields=["name"])
    return colourway


def _current(cloth: Cloth) -> ClothSpec:
    spec = latest_of(cloth)
    if spec is None:
        raise Refusal(N_("%(code)s has never been specified. Write its first revision."), code=cloth.code)
    return spec


def _check_cloth(cloth: Cloth) -> None:
    # It stands in addresses, where "new" is the page of the next cloth.
    if not re.fullmatch(r"(?!new$)[\w.+-]{1,20}", cloth.code):
        raise Refusal(
            N_("%(code)s can't be a cloth's code. Write letters, figures, full stops and hyphens: HER7."),
            field="code",
            code=repr(cloth.code),
        )
    _full_clean(cloth)


def _full_clean(row: Cloth | ClothSpec | Colourway) -> None:
    try:
        # A command writes for nobody: `by` may be empty.
        row.full_clean(exclude={"by"})
    except ValidationError as error:
        name, said = next(iter(error.message_dict.items()))
        raise Refusal(" ".join(said), field=name if name != "__all__" else None) from error


def _check_left_out(cloth: Cloth, draft: SpecDraft) -> None:
    """A colourway with open orders can't be left out: nobody could weave them."""
    made = {colourway.colourway_id for colourway in draft.made}
    on_order = Counter(
        OrderLine.objects.open()
        .filter(cloth=cloth)
        .exclude(colourway__in=made)
        .values_list("colourway__name", flat=True)
    )
    if on_order:
        name, lines = min(on_order.items())
        one = N_(
            "Colourway %(name)s has 1 open order line and no yarns here. Put its yarns in, or call the lines off first."
        )
        several = N_(
            "Colourway %(name)s has %(n)s open order lines and no yarns here. Put its yarns in, or call the lines off"
            " first."
        )
        raise Refusal(one if lines == 1 else several, field="colourways", name=name, n=lines)


def _write(spec: ClothSpec, draft: SpecDraft) -> ClothSpec:
    for name in COLUMNS:
        setattr(spec, name, draft.columns[name])
    _full_clean(spec)
    spec.save()
    _write_route(spec, draft)
    written = {colourway.pk: colourway for colourway in spec.cloth.colourways.all()}
    _rename(written, draft, by=spec.by)
    yarns: dict[Colourway, Mapping[str, Yarn]] = {}
    for drafted in draft.made:
        if drafted.colourway_id is None:
            colourway = Colourway(cloth=spec.cloth, name=drafted.name.strip())
            _full_clean(colourway)
            changes.written_by(colourway, spec.by)
            colourway.save()
        else:
            colourway = written[drafted.colourway_id]
        yarns[colourway] = drafted.yarns
    for left_out in spec.colourway_yarns.exclude(colourway__in=yarns):
        _strike_out(left_out, by=spec.by)
    _write_yarns(spec, yarns, draft, by=spec.by)
    return spec


def _rename(written: Mapping[int, Colourway], draft: SpecDraft, *, by: Any) -> None:
    drafted = {colourway.colourway_id: colourway.name.strip() for colourway in draft.made if colourway.colourway_id}
    renamed = [written[pk] for pk, name in drafted.items() if pk and written[pk].name != name]
    # By way of their numbers, so that two colourways can exchange their names.
    for colourway in renamed:
        Colourway.objects.filter(pk=colourway.pk).update(name=f"#{colourway.pk}")
    for colourway in renamed:
        colourway.name = drafted[colourway.pk]
        _full_clean(colourway)
        changes.written_by(colourway, by)
        colourway.save(update_fields=["name"])


def _write_route(spec: ClothSpec, draft: SpecDraft) -> None:
    """Row by row, so that the account tells of the steps that differ and of no others."""
    written = {row.position: row for row in spec.route_steps.all()}
    for position, step in enumerate(draft.route, start=1):
        row = written.pop(position, None) or RouteStep(spec=spec, position=position)
        if row.pk and row.as_step() == step:
            continue
        for column in ("name", "width_shrink_pct", "length_shrink_pct", "mass_loss_pct", "note"):
            setattr(row, column, getattr(step, column))
        changes.written_by(row, spec.by)
        row.save()
    for row in written.values():
        _strike_out(row, by=spec.by)


def _write_yarns(spec: ClothSpec, yarns: Mapping[Colourway, Mapping[str, Yarn]], draft: SpecDraft, *, by: Any) -> None:
    """The same for what stands at the letters of these colourways."""
    rows = spec.colourway_yarns.filter(colourway__in=yarns)
    written = {(row.colourway_id, row.letter): row for row in rows}
    for colourway, at_letters in yarns.items():
        for letter in draft.letters:
            row = written.pop((colourway.pk, letter), None)
            if row is None:
                row = ColourwayYarn(spec=spec, colourway=colourway, letter=letter)
            elif row.yarn_id == at_letters[letter].pk:
                continue
            row.yarn = at_letters[letter]
            changes.written_by(row, by)
            row.save()
    for row in written.values():
        _strike_out(row, by=by)


def _strike_out(row: RouteStep | ColourwayYarn, *, by: Any) -> None:
    changes.written_by(row, by)
    row.delete()


def _tickets_from_before(cloth: Cloth, revision: int) -> list[JobTicket]:
    """Tickets still in use that were issued from an earlier revision of this cloth, those in `older`, latest first."""
    older = ClothSpec.objects.filter(cloth=cloth, revision__lt=revision).order_by("-revision")
    tickets = (
        JobTicket.objects.filter(withdrawn_at__isnull=True, overtaken_at__isnull=True, specs__in=older)
        .exclude(warp__state=Warp.WOVEN_OUT)
        .select_related("warp")
        .prefetch_related(Prefetch("specs", older, to_attr="older"))
        .distinct()
    )
    return list(tickets.order_by("pk"))


def _overtake(spec: ClothSpec) -> None:
    now = timezone.now()
    tickets = _tickets_from_before(spec.cloth, spec.revision)
    for ticket in tickets:
        ticket.overtaken_at = now
        ticket.overtaken_why = (
            f"Cloth {spec.cloth.code} is now revision {spec.revision}; "
            f"this ticket is from revision {ticket.older[0].revision}."  # type: ignore[attr-defined]
        )
    JobTicket.objects.bulk_update(tickets, ["overtaken_at", "overtaken_why"])


# Reading


def what_stands_on(spec: ClothSpec) -> str:
    """What was made from a revision, in the language of the page: it can't be edited any more. Empty for nothing."""
    counts = [
        (WarpPart.objects.filter(spec=spec).values("warp").distinct().count(), N_("1 warp"), N_("%(n)s warps")),
        (JobTicket.objects.filter(specs=spec).count(), N_("1 ticket"), N_("%(n)s tickets")),
        (spec.woven_pieces.count(), N_("1 piece"), N_("%(n)s pieces")),
    ]
    said = [in_words(one if n == 1 else many, n=n) for n, one, many in counts if n]
    return listed(said, most=len(said))


def differences(before: SpecDraft, after: SpecDraft) -> list[str]:
    """What the later says otherwise, in the language of the page and the order of the form; empty when nothing."""
    return [
        *_columns_that_differ(before.columns, after.columns),
        *_steps_that_differ(before.route, after.route),
        *_yarns_that_differ(before, after),
    ]


def _columns_that_differ(before: Mapping[str, Any], after: Mapping[str, Any]) -> Iterable[str]:
    for name, label, unit in SAID:
        was, now = before[name], after[name]
        read = NOTATIONS.get(name)
        if (read(was) != read(now)) if read else was != now:
            yield f"{_(label)}: {_told(was)} → {_told(now)}{f' {_(unit)}' if unit else ''}"


def _told(value: Any) -> str:
    """The same as the page's language says it."""
    if isinstance(value, Decimal):
        return _word(value).replace(".", written_now().decimal)
    word = _word(value)
    return _(word) if isinstance(value, bool) or word == NONE else word


def _word(value: Any) -> str:
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, bool):
        return N_("yes") if value else N_("no")
    return " ".join(str(value).split()) or NONE


def _steps_that_differ(before: Sequence[cloth_room.RouteStep], after: Sequence[cloth_room.RouteStep]) -> Iterable[str]:
    if [step.name for step in before] != [step.name for step in after]:
        yield in_words(N_("Route: %(was)s → %(now)s"), was=_route_told(before), now=_route_told(after))
    for was, now in _paired(before, after):
        for form, old, new in (
            (N_("%(step)s, width: %(was)s → %(now)s %%"), was.width_shrink_pct, now.width_shrink_pct),
            (N_("%(step)s, length: %(was)s → %(now)s %%"), was.length_shrink_pct, now.length_shrink_pct),
            (N_("%(step)s, mass: %(was)s → %(now)s %%"), was.mass_loss_pct, now.mass_loss_pct),
        ):
            if old != new:
                yield in_words(form, step=_capital(now.name), was=_told(old), now=_told(new))
        if was.note != now.note:
            yield in_words(
                N_("%(step)s, note: %(was)s → %(now)s"),
                step=_capital(now.name),
                was=_told(was.note),
                now=_told(now.note),
            )


def _paired(
    before: Sequence[cloth_room.RouteStep], after: Sequence[cloth_room.RouteStep]
) -> Iterable[tuple[cloth_room.RouteStep, cloth_room.RouteStep]]:
    """Steps of one name, the first with the first, the second with the second; a new one with one that does nothing."""
    left = list(before)
    for now in after:
        was = next((step for step in left if step.name == now.name), None)
        if was is None:
            nothing = Decimal(0)
            yield cloth_room.RouteStep(now.name, nothing, nothing, nothing), now
        else:
            left.remove(was)
            yield was, now


def _route(steps: Sequence[cloth_room.RouteStep]) -> str:
    return ", ".join(step.name for step in steps) or N_("sold in the grey")


def _route_told(steps: Sequence[cloth_room.RouteStep]) -> str:
    return _route(steps) if steps else _(_route(steps))


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]


def _yarns_that_differ(before: SpecDraft, after: SpecDraft) -> Iterable[str]:
    was = {colourway.colourway_id: colourway for colourway in before.made}
    for now in after.made:
        old = was.pop(now.colourway_id, None)
        if old is None:
            yield in_words(N_("Colourway %(name)s is new"), name=now.name)
            continue
        if old.name != now.name:
            yield in_words(N_("Colourway %(was)s is called %(now)s"), was=old.name, now=now.name)
        for letter in sorted(set(before.letters) | set(after.letters)):
            old_yarn = old.yarns.get(letter) if letter in before.letters else None
            new_yarn = now.yarns.get(letter) if letter in after.letters else None
            if old_yarn != new_yarn:
                yield f"{now.name} {letter}: {old_yarn or _(NONE)} → {new_yarn or _(NONE)}"
    for left_out in was.values():
        yield in_words(N_("Colourway %(name)s is left out"), name=left_out.name)


# What a revision would change


@dataclass(frozen=True)
class WarpChange:
    """A warp that would follow the revision; figures are None where it can't be worked out."""

    warp: Warp
    before: Figures | None
    after: Figures | None
    trouble: str
    planned_stop: Any

    @property
    def more_min(self) -> int | None:
        """Minutes more in the loom; less than 0 when it is woven sooner; None without a loom."""
        before = self.before.weaving_min if self.before else None
        after = self.after.weaving_min if self.after else None
        return after - before if before is not None and after is not None else None


@dataclass(frozen=True)
class YarnChange:
    code: str
    name: str
    colour: str
    before_g: int
    after_g: int

    @property
    def more_g(self) -> int:
        return self.after_g - self.before_g


@dataclass(frozen=True)
class Consequences:
    """What would follow from writing a draft as the next revision.

    warps       that would follow it
    staying     warps whose yarn has been drawn: they are woven as they were planned
    yarns       of the warps that follow, with waste, before and after
    tickets     that would be overtaken
    *_min       weaving time of the warps that have a loom
    foreseen    what it does to the draw-down of each yarn, and to what is held for these warps
    """

    revision: int
    differences: tuple[str, ...]
    warps: tuple[WarpChange, ...]
    staying: tuple[Warp, ...]
    yarns: tuple[YarnChange, ...]
    tickets: tuple[JobTicket, ...]
    weaving_min_before: int
    weaving_min_after: int
    picks_before: int
    picks_after: int
    foreseen: Foreseen

    @property
    def staying_called(self) -> list[str]:
        return [warp.called for warp in self.staying]

    @property
    def grams(self) -> tuple[int, int]:
        return sum(yarn.before_g for yarn in self.yarns), sum(yarn.after_g for yarn in self.yarns)


def what_it_changes(cloth: Cloth, draft: SpecDraft) -> Consequences:
    """What the draft would change if it were written now. Writes nothing; a constant number of queries.

    Raises Refusal, as `revise` would, for a draft that can't be woven.
    """
    current = _current(cloth)
    made = as_cloths(draft, cloth=cloth, revision=current.revision + 1)
    by_colourway = {colourway.colourway_id: made[colourway.name] for colourway in draft.made}
    of_cloth = Warp.objects.open().filter(pk__in=WarpPart.objects.filter(spec__cloth=cloth).values("warp"))
    mill = Mill.the_one()
    changes: list[WarpChange] = []
    for warp in working_out.for_working_out(of_cloth.follows_revisions()):
        before = working_out.work_out_warp(warp, mill=mill)
        slot = working_out.slot_in_force(warp)
        try:
            runs = [run_then(part, cloth, by_colourway) for part in warp.parts.all()]
        except Refusal as refusal:
            after, trouble = None, refusal.message
        else:
            worked = working_out.work_out_warp(warp, mill=mill, runs=runs)
            assert worked is not None
            after, trouble = worked.figures, told_again(worked.trouble)
        assert before is not None
        changes.append(WarpChange(warp, before.figures, after, trouble, slot.weaving_stops_at if slot else None))
    timed = [change.before.weaving_min or 0 for change in changes if change.before and change.more_min is not None]
    return Consequences(
        revision=current.revision + 1,
        differences=tuple(differences(draft_of(current), draft)),
        warps=tuple(changes),
        staying=tuple(of_cloth.exclude(state__in=[Warp.PROPOSED, Warp.PLANNED])),
        yarns=_yarns_before_and_after(changes),
        tickets=tuple(_tickets_from_before(cloth, current.revision + 1)),
        weaving_min_before=sum(timed),
        weaving_min_after=sum(timed) + sum(change.more_min or 0 for change in changes),
        picks_before=sum(change.before.picks for change in changes if change.before),
        picks_after=sum(change.after.picks for change in changes if change.after),
        foreseen=foresee_warps(
            WarpThen(
                change.warp,
                change.after,
                working_out.slot_in_force(change.warp),
                _begins_by(change.warp, cloth, draft.columns["finishing_days"]),
            )
            for change in changes
        ),
    )


def _begins_by(warp: Warp, cloth: Cloth, finishing_days: int) -> date:
    """When the warp should begin, were so many days of finishing those of this cloth."""
    return min(
        working_out.latest_start(
            part.line.due_on, finishing_days if part.spec.cloth_id == cloth.pk else part.spec.finishing_days
        )
        for part in warp.parts.all()
    )


def run_then(part: WarpPart, cloth: Cloth, by_colourway: Mapping[int | None, cloth_room.Cloth]) -> Run:
    """The part as it would be woven: by the draft where it is of this cloth."""
    line = part.line
    if part.spec.cloth_id == cloth.pk:
        if line.colourway_id not in by_colourway:
            raise Refusal(
                N_("Order %(line)s is of colourway %(colourway)s, which has no yarns here."),
                field="colourways",
                line=line,
                colourway=line.colourway,
            )
        made = by_colourway[line.colourway_id]
    else:
        made = part.spec.as_cloth(line.colourway)
    return Run(str(line), line.order.customer.name, made, part.pieces, line.length_m)


def _yarns_before_and_after(changes: Iterable[WarpChange]) -> tuple[YarnChange, ...]:
    before: Counter[str] = Counter()
    after: Counter[str] = Counter()
    seen: dict[str, tuple[str, str]] = {}
    for change in changes:
        for figures, grams in ((change.before, before), (change.after, after)):
            for need in (*figures.warp_yarns, *figures.weft_yarns) if figures else ():
                grams[need.code] += need.issue_g
                seen[need.code] = (need.name, need.colour)
    return tuple(YarnChange(code, *seen[code], before[code], after[code]) for code in sorted(seen))
