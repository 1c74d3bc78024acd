"""Candlebeck's yarns, and its cloths with their revisions."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from simple_history.utils import bulk_create_with_history

from inventory.models import Fibre, Place, Supplier, Trap, Yarn, YarnFibre
from inventory.yarn import read_count, regain_called
from mill.candlebeck import names
from mill.candlebeck.names import Recipe
from mill.candlebeck.story import Story, clock_at
from mill.models import Mill
from planning.csv_book import read_letters, read_route
from planning.models import ClothSpec, Colourway, mill_facts
from planning.services import cloths
from planning.services.cloths import COLUMNS, ColourwayDraft, SpecDraft
from planning.services.line_figures import alone
from planning.ticket import Figures, MillFacts, Run

TEX_PLACES = Decimal("0.0001")
FIRST_REVISIONS_AGO = 420


def _trapped(places: Iterable[Place]) -> Iterator[tuple[Place, str]]:
    """A trap in each place, and one more of another kind where it is dark."""
    for place in places:
        yield place, Trap.WEBBING
        if place.is_dark:
            yield place, Trap.BEETLE


def write_yarns(story: Story) -> None:
    suppliers = {
        supplier.code: supplier
        for supplier in bulk_create_with_history(
            [Supplier(code=code, name=name, lead_time_days=days) for code, name, days in names.SUPPLIERS],
            Supplier,
            default_user=story.by,
        )
    }
    places = bulk_create_with_history(
        [Place(code=code, name=name, is_dark=is_dark) for code, name, is_dark in names.PLACES],
        Place,
        default_user=story.by,
    )
    traps = [
        Trap(code=f"T{n}", place=place, catches=catches, lure_renewed_on=story.ago(6 + 6 * n))
        for n, (place, catches) in enumerate(_trapped(places), start=1)
    ]
    bulk_create_with_history(traps, Trap, default_user=story.by)
    fibres = {
        fibre.name: fibre
        for fibre in bulk_create_with_history(
            [
                Fibre(
                    name=name,
                    is_protein=is_protein,
                    regain_pct=regain_called(key).regain_pct,
                    regain_authority=regain_called(key).authority,
                )
                for name, is_protein, key in names.FIBRES
            ],
            Fibre,
            default_user=story.by,
        )
    }
    yarns: list[Yarn] = []
    shares: list[YarnFibre] = []
    for kind in names.RANGES:
        fibre = fibres[kind.fibre]
        for number, shade, colour in kind.shades:
            yarn = Yarn(
                code=f"{kind.code}-{number}",
                name=shade,
                colour=colour,
                count_as_bought=kind.count,
                count_tex=read_count(kind.count).count_tex.quantize(TEX_PLACES),
                spinning=kind.spinning,
                regain_pct=fibre.regain_pct,
                regain_authority=fibre.regain_authority,
                supplier=suppliers[kind.supplier],
                min_order_g=kind.min_order_kg * 1000,
            )
            yarns.append(yarn)
            shares.append(YarnFibre(yarn=yarn, fibre=fibre, share_pct=Decimal(100)))
    bulk_create_with_history(yarns, Yarn, default_user=story.by)
    YarnFibre.objects.bulk_create(shares)


# Cloths


def write_cloths(story: Story) -> None:
    """Every cloth as it was first made, and each later revision on its day; not the one of yesterday."""
    yarns = {yarn.code: yarn for yarn in Yarn.objects.all()}
    for recipe in names.RECIPES:
        with clock_at(story.workday(FIRST_REVISIONS_AGO)):
            spec = cloths.new_cloth(
                code=recipe.code,
                name=recipe.name,
                draft=draft_of(recipe, 0, yarns),
                by=story.by,
                note="As first made.",
            )
        for n, (days_ago, note, _) in enumerate(recipe.before, start=1):
            if days_ago == names.YESTERDAY:
                continue
            with clock_at(story.workday(days_ago)):
                revise(story, spec.cloth, recipe, n, note, yarns)


def revise(story: Story, cloth: Any, recipe: Recipe, n: int, note: str, yarns: Mapping[str, Yarn]) -> ClothSpec:
    written = {colourway.name: colourway.pk for colourway in cloth.colourways.all()}
    return cloths.revise(cloth, draft_of(recipe, n, yarns, written), by=story.by, note=note)


def draft_of(recipe: Recipe, n: int, yarns: Mapping[str, Yarn], written: Mapping[str, int] | None = None) -> SpecDraft:
    """The recipe as revision n + 1 had it.

    written    primary keys of the colourways that are in the book
    """
    otherwise = recipe.before[n][2] if n < len(recipe.before) else {}
    said = {name: otherwise.get(name, getattr(recipe, name)) for name in (*COLUMNS, "route") if name != "note"}
    columns = {name: _typed(name, said[name]) for name in COLUMNS}
    return SpecDraft(
        columns=columns,
        route=read_route(said["route"]),
        colourways=[
            ColourwayDraft(
                name,
                {letter: yarns[code] for letter, code in read_letters(letters).items()},
                (written or {}).get(name),
            )
            for name, letters in recipe.colourways
        ],
    )


def _typed(name: str, value: Any) -> Any:
    """As the column of ClothSpec has it."""
    return ClothSpec._meta.get_field(name).to_python(value)  # type: ignore[union-attr]


# What is woven


@dataclass(frozen=True)
class Weave:
    """A cloth to weave in one colourway, with the revisions it has had: (from that day on, revision)."""

    recipe: Recipe
    colourway: Colourway
    revisions: tuple[tuple[date, ClothSpec], ...]

    def spec_on(self, day: date) -> ClothSpec:
        return [spec for since, spec in self.revisions if since <= day][-1]

    def figures(self, spec: ClothSpec, *, pieces: int, length_m: Decimal, facts: MillFacts) -> Figures:
        return alone(Run("", "", spec.as_cloth(self.colourway), pieces, length_m), facts)


def weaves() -> list[Weave]:
    """Every colourway of every cloth."""
    recipes = {recipe.code: recipe for recipe in names.RECIPES}
    revisions: dict[int, list[tuple[date, ClothSpec]]] = {}
    specs = ClothSpec.objects.select_related("cloth").prefetch_related("route_steps", "colourway_yarns__yarn")
    for spec in specs.order_by("revision"):
        revisions.setdefault(spec.cloth_id, []).append((spec.made_at.date(), spec))
    return [
        Weave(recipes[colourway.cloth.code], colourway, tuple(revisions[colourway.cloth_id]))
        for colourway in Colourway.objects.select_related("cloth").order_by("pk")
    ]


def facts_of_the_mill() -> MillFacts:
    return mill_facts(Mill.the_one())
