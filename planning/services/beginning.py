"""How far a mill has got in writing its book down, in the order in which a mill would. Looks and writes nothing."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib.auth import get_user_model
from django.db.models import Model
from django.utils.translation import pgettext_lazy

from inventory.models import Fibre, Place, Supplier, Yarn, YarnLot
from mill.models import Mill
from mill.refusal import N_
from planning.models import Beam, Closure, Cloth, Customer, Loom, OrderLine, PlanRun, Reed, ShiftPattern, Warp


@dataclass(frozen=True)
class Step:
    """One thing to write down.

    name     of its place in the list
    why      what the book does with it
    write    the name of the address where one is written by hand
    bring    the kind of file that brings many in; empty where there is none
    n        how many there are
    """

    name: Any
    why: str
    see: str
    write: str
    bring: str
    n: int
    is_done: bool


def _rows(model: type[Model], **only: Any) -> Callable[[], int]:
    return lambda: model._default_manager.filter(**only).count()


# name, why, where they are listed, where one is written, what file brings them in, how many there are
_STEPS: list[tuple[Any, str, str, str, str, Callable[[], int]]] = [
    (
        N_("The mill’s name and its figures"),
        N_(
            "Thrums, waste, warping and tuners: every sum begins from them, and each says where its first value is"
            " from."
        ),
        "mill",
        "mill",
        "",
        lambda: int(Mill.the_one().name != Mill._meta.get_field("name").default),
    ),
    (
        pgettext_lazy("shift", "Hours"),
        N_("The shifts that a loom runs by: a plan is in working hours."),
        "shift_patterns",
        "shift_pattern_new",
        "",
        _rows(ShiftPattern),
    ),
    (
        N_("Closures"),
        N_("Days on which the mill stands: public holidays come out of a table, the mill’s own are written by hand."),
        "closures",
        "public_days",
        "",
        _rows(Closure),
    ),
    (N_("Looms"), N_("What each can weave, how fast, and by which hours."), "looms", "loom_new", "looms", _rows(Loom)),
    (N_("Reeds"), N_("Which setts can be woven."), "reeds", "reed_new", "reeds", _rows(Reed)),
    (N_("Beams"), N_("How much warp goes on one, and which loom takes it."), "beams", "beam_new", "beams", _rows(Beam)),
    (
        N_("Fibres"),
        N_("Each with its regain by one authority: a table’s are written in one act."),
        "fibres",
        "fibre_new",
        "fibres",
        _rows(Fibre),
    ),
    (
        N_("Suppliers"),
        N_("Who sells yarn, and how long it takes."),
        "suppliers",
        "supplier_new",
        "suppliers",
        _rows(Supplier),
    ),
    (
        N_("Yarns"),
        N_("Count, colour and fibres of each yarn that is bought."),
        "yarn",
        "yarn_new",
        "yarns",
        _rows(Yarn),
    ),
    (N_("Places"), N_("Where yarn lies, and is kept free of moth."), "places", "place_new", "places", _rows(Place)),
    (N_("Lots"), N_("What lies in the store today, by dye lot."), "lots", "lot_receive", "lots", _rows(YarnLot)),
    (
        N_("Cloths"),
        N_("What the mill weaves: sett, weave, yarns, finishing."),
        "cloths",
        "cloth_new",
        "cloths",
        _rows(Cloth),
    ),
    (
        N_("Customers"),
        N_("Who orders, and what they take as first quality."),
        "customers",
        "customer_new",
        "customers",
        _rows(Customer),
    ),
    (N_("Orders"), N_("What is promised, to whom and for when."), "orders", "order_new", "orders", _rows(OrderLine)),
    (N_("Warps"), N_("Order lines combined into warps."), "warps", "combine", "", _rows(Warp)),
    (
        N_("A plan in force"),
        N_("Warps on looms: from here on the book says what is late, short or standing."),
        "looms",
        "looms",
        "",
        _rows(PlanRun, state=PlanRun.IN_FORCE),
    ),
    (
        N_("People"),
        N_("Each with a role, so that everybody finds their own work in Today."),
        "people",
        "person_new",
        "",
        lambda: max(get_user_model().objects.filter(is_active=True).count() - 1, 0),
    ),
]


def steps() -> list[Step]:
    """All of them, in order."""
    return [Step(name, why, see, write, bring, n := count(), n > 0) for name, why, see, write, bring, count in _STEPS]


def next_step(of: list[Step] | None = None) -> Step | None:
    """The first that is not done; None when all are."""
    return next((step for step in (steps() if of is None else of) if not step.is_done), None)


def is_under_way() -> bool:
    """Whether the book is still being written down: nothing has ever been planned in it."""
    return not PlanRun.objects.exclude(state=PlanRun.OFFERED).exists()
