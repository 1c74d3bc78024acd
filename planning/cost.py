"""The cost of pieces: yarn, warping, set-up, weaving, finishing, seconds, overhead. Knows no lot, loom or order.

Absorption costing, as textbooks of costing have it: direct material, conversion at stated rates, a share of what is
done once for many, and overhead as a percentage (Horngren, Cost Accounting; from memory). What a warp costs once, its
set-up, its warping and the yarn that never becomes cloth, is shared among its pieces by their length off the loom.

Nothing is invented: where a price or a rate is not stated the line has no amount, the sum has none, and `missing` says
which. Amounts are rounded once, to the smallest coin, on the line that names them; shares add up to their line.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import ROUND_CEILING, ROUND_HALF_UP, Context, Decimal, localcontext

from mill.refusal import N_, Refusal
from mill.working import W_, Step, Working, written
from planning.finishing import is_at_the_perch
from planning.formulae import COSTS
from planning.rows import shared_out
from planning.ticket import Figures

# Decimals of a currency other than two. ISO 4217, from memory.
PLACES = {
    **dict.fromkeys(("CLP", "ISK", "JPY", "KRW", "PYG", "UGX", "VND", "XAF", "XOF", "XPF"), 0),
    **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
}
# Words among the figures of a sum.
OF_FIGURES = W_("figures of %(warp)s")
THE_WARP, OF_THE_WARP = N_("The warp"), W_("figures of the warp")
WITH_WASTE = W_("with waste")
OF_LOT = W_("lot %(lot)s")
OF_YARN = {"warp": W_("warp %(yarn)s"), "weft": W_("weft %(yarn)s")}
OF_WARP = W_("Warp %(n)s")
M_A_DAY = W_("%(n)s m a day")
AS_JUDGED = W_("%(n_seconds)s m ÷ %(n_all)s m as judged")
SECONDS = W_("%(sum)s; a second fetches %(worth)s of its cost")
SHARE_OF = W_("%(n)s of %(n_all)s")
PIECE_OF_LINE = W_("%(line)s no. %(n)s")
OF_PART = W_("%(part)s: %(label)s")
IN_ALL = W_("%(label)s, together")
BY_LENGTH = W_("as %(n)s m of %(n_all)s m off the loom")
# What a line's amount is shared out by.
BY = {
    "weft_yarn": W_("as the grams of weft that each piece takes"),
    "weaving": W_("as the loom's time on each piece"),
    "finishing": W_("as what of each piece goes through each step"),
    "mending": W_("as the minutes mended"),
    "": W_("as the costs before it"),
}
PER_M, PER_KG, PER_DAY = "m", "kg", "day"
BASES = {PER_M: "a metre, grey", PER_KG: "a kilogram, grey", PER_DAY: "a day of its machine"}
# The lines in the order of a cost sheet; a line for which nothing is stated and nothing is owed is left out.
LINES = (
    *("warp_yarn", "weft_yarn", "warping", "thrums", "set_up", "weaving", "finishing", "mending", "seconds"),
    "overhead",
)

# What is not stated: said in English, and said again in the language of a page.
NO_WARPING_RATE = N_("What an hour of warping costs is not stated.")
NO_SET_UP_RATE = N_("What an hour of set-up costs is not stated.")
NO_LOOM_RATE = N_("What an hour of the loom that weaves it costs is not stated.")
NO_MENDING_RATE = N_("What an hour of mending costs is not stated.")
NO_PRICE_OF_LOT = N_("Yarn %(yarn)s, lot %(lot)s has no price.")
NO_PRICE = N_("Yarn %(yarn)s has no price.")
NO_STEP_RATE = N_("What the finishing step “%(step)s” costs is not stated.")
NO_MACHINE = N_("No machine is named for “%(step)s”: a day of it has no metres.")
ALL_SECONDS = N_("Every piece is a second: no first quality is left to bear their cost.")
NO_WORTH = N_("What a second fetches, as a share of its cost, is not stated.")
MISSING = (
    *(NO_WARPING_RATE, NO_SET_UP_RATE, NO_LOOM_RATE, NO_MENDING_RATE, NO_PRICE_OF_LOT, NO_PRICE, NO_STEP_RATE),
    *(NO_MACHINE, ALL_SECONDS, NO_WORTH),
)


def places_of(currency: str) -> int:
    """Decimals of a currency's smallest coin.

    >>> places_of("GBP"), places_of("JPY")
    (2, 0)
    """
    return PLACES.get(currency, 2)


@dataclass(frozen=True, slots=True)
class Stated:
    """A price, a rate or an allowance that somebody stated; `said` is where: "in force from 1.3.2026"."""

    amount: Decimal
    said: str = ""


@dataclass(frozen=True, slots=True)
class StepRate:
    """What a finishing step costs; m_per_day is what its machine gets through, for a rate by the day."""

    basis: str
    rate: Stated
    m_per_day: Decimal | None = None


@dataclass(frozen=True, slots=True)
class YarnUsed:
    """Grams of a yarn, with waste, at one price; `lot` is "" where it is a need and no lot yet.

    said    where the grams come from
    """

    use: str
    code: str
    grams: int
    price: Stated | None
    lot: str = ""
    said: str = ""


@dataclass(frozen=True, slots=True)
class PieceJob:
    """One piece of a warp.

    grey_m, grey_g           off the loom
    finished_m, finished_g   as the customer gets it
    weaving                  its share of the warp's loom time goes by this: picks, or minutes
    weft_g                   of each yarn, by code: its share of the weft goes by this
    passes                   finishing steps by name, and how often it goes through each
    is_second                None until it is judged
    """

    name: str
    grey_m: Decimal
    finished_m: Decimal
    grey_g: int
    finished_g: int
    weaving: Decimal
    weft_g: Mapping[str, Decimal] = field(default_factory=dict)
    passes: Mapping[str, int] = field(default_factory=dict)
    mending_min: Decimal = Decimal(0)
    is_second: bool | None = None

    def __post_init__(self) -> None:
        for what, value in (("grey length", self.grey_m), ("finished length", self.finished_m)):
            if value <= 0:
                raise Refusal(f"Piece {self.name} has a {what} of {value} m; a cost is shared by lengths above 0.")


@dataclass(frozen=True, slots=True)
class WarpJob:
    """A warp with its pieces, as planned or as it went.

    set_up    what is done at the loom: gait-up, tie-in …
    said      where its quantities come from, by their names: "warping_min": "figures of Warp 118"
    """

    name: str
    yarns: tuple[YarnUsed, ...]
    warp_length_m: Decimal
    thrums_m: Decimal
    warping_min: int
    set_up: str
    set_up_min: int
    weaving_min: int
    pieces: tuple[PieceJob, ...]
    said: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not self.pieces:
            raise Refusal(f"{self.name} has no piece to bear its cost. Put pieces of an order on it first.")
        if not 0 <= self.thrums_m <= self.warp_length_m:
            raise Refusal(f"{self.name} has {self.thrums_m} m of thrums in {self.warp_length_m} m of warp.")


@dataclass(frozen=True, slots=True)
class Rates:
    """What the mill has stated, as it was in force on one day; None where it has stated nothing.

    loom_per_h      of the loom that weaves it
    steps           finishing steps, by name
    seconds_pct     of finished metres, that become seconds
    worth_pct       what a second fetches, of its own cost
    overhead_pct    of all costs before it
    """

    currency: str
    warping_per_h: Stated | None = None
    set_up_per_h: Stated | None = None
    loom_per_h: Stated | None = None
    mending_per_h: Stated | None = None
    steps: Mapping[str, StepRate] = field(default_factory=dict)
    seconds_pct: Stated | None = None
    worth_pct: Stated | None = None
    overhead_pct: Stated | None = None


@dataclass(frozen=True, slots=True)
class CostLine:
    """One line of a cost sheet; `shares` are the pieces', in their order. Both are None where something is missing."""

    name: str
    label: str
    amount: Decimal | None
    shares: tuple[Decimal, ...] | None


@dataclass(frozen=True, slots=True)
class Bearer:
    """A piece that bears a share."""

    name: str
    grey_m: Decimal
    finished_m: Decimal
    finished_g: int


@dataclass(frozen=True, slots=True)
class Cost:
    """What pieces cost together, line by line.

    missing    sentences: which price or rate is not stated
    """

    currency: str
    pieces: tuple[Bearer, ...]
    lines: tuple[CostLine, ...]
    missing: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def places(self) -> int:
        return places_of(self.currency)

    @property
    def total(self) -> Decimal | None:
        """None while something is missing."""
        return None if self.missing else self.known

    @property
    def known(self) -> Decimal:
        """Of the lines that have an amount."""
        return sum((line.amount for line in self.lines if line.amount is not None), start=Decimal(0))

    @property
    def grey_m(self) -> Decimal:
        return sum((piece.grey_m for piece in self.pieces), start=Decimal(0))

    @property
    def finished_m(self) -> Decimal:
        return sum((piece.finished_m for piece in self.pieces), start=Decimal(0))

    @property
    def finished_kg(self) -> Decimal:
        return Decimal(sum(piece.finished_g for piece in self.pieces)) / 1000

    @property
    def per_m(self) -> Decimal | None:
        """Of finished cloth."""
        return None if self.total is None else _coin(self.total / self.finished_m, self.places)

    @property
    def per_kg(self) -> Decimal | None:
        """Of finished cloth."""
        if self.total is None or not self.finished_kg:
            return None
        return _coin(self.total / self.finished_kg, self.places)

    @property
    def per_piece(self) -> Decimal | None:
        """The mean."""
        return None if self.total is None else _coin(self.total / len(self.pieces), self.places)

    def amount_of(self, name: str) -> Decimal | None:
        """A line's amount; 0 where the sheet has no such line, None where something of it is missing."""
        found = next((line for line in self.lines if line.name == name), None)
        return Decimal(0) if found is None else found.amount


# Rounding: here and nowhere else.


# Wide enough for any amount that the reckoner can be asked for.
_WIDE = Context(prec=60)


def _coin(value: Decimal, places: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP, context=_WIDE)


# How numbers are written in the working.


def _at(stated: Stated, unit: str) -> str:
    """What was stated, and where: "9.5 GBP (in force from 1.3.2026)"."""
    return " ".join(part for part in (written(stated.amount), unit, f"({stated.said})" if stated.said else "") if part)


def _of(quantity: str, said: str) -> str:
    """A quantity, and where it comes from: "137 min (figures of Warp 118)"."""
    return f"{quantity} ({said})" if said else quantity


def _plus(amounts: Iterable[Decimal]) -> str:
    return " + ".join(str(amount) for amount in amounts) or "0"


class _Sheet:
    """A cost sheet being worked: its lines, their steps, and what is missing."""

    def __init__(self, job: WarpJob, rates: Rates) -> None:
        self.job, self.rates = job, rates
        self.places = places_of(rates.currency)
        self.working = Working()
        self.lines: list[CostLine] = []
        self.missing: list[str] = []

    def step(self, name: str, value: Decimal, sum: str, *, rule: str = "", of: str = "") -> Decimal:
        words = COSTS[rule or name]
        return self.working.add(
            _coin(value, self.places),
            name=name,
            label=words.label % {"of": of},
            formula=words.formula,
            sum=sum,
            unit=self.rates.currency,
            source=words.source,
        )

    def lacks(self, what: str) -> None:
        if what not in self.missing:
            self.missing.append(what)

    def line(self, name: str, amount: Decimal | None, weights: Sequence[Decimal]) -> None:
        label = COSTS[name].label
        shares = None if amount is None else shared_out(amount, weights, places=self.places)
        self.lines.append(CostLine(name, label, amount, shares))

    @property
    def so_far(self) -> Decimal | None:
        """Of the lines worked; None where one of them is missing something."""
        amounts = [line.amount for line in self.lines]
        return None if None in amounts else sum((one for one in amounts if one is not None), start=Decimal(0))

    def borne(self) -> list[Decimal]:
        """What each piece bears of the lines worked."""
        shares = [line.shares for line in self.lines if line.shares is not None]
        return [sum((row[n] for row in shares), start=Decimal(0)) for n in range(len(self.job.pieces))]

    def by_length(self) -> list[Decimal]:
        return [piece.grey_m for piece in self.job.pieces]

    def by_the_hour(
        self, name: str, minutes: Decimal | int, rate: Stated | None, *, of: str, said: str
    ) -> Decimal | None:
        """Minutes at a rate of an hour; nothing is owed for none."""
        quantity = _of(f"{written(minutes)} min", self.job.said.get(f"{name}_min", ""))
        if not minutes:
            return self.step(name, Decimal(0), quantity, of=of)
        if rate is None:
            self.lacks(said)
            return None
        sum = f"{quantity} ÷ 60 × {_at(rate, self.rates.currency)}"
        return self.step(name, Decimal(minutes) / 60 * rate.amount, sum, of=of)


def work_out_cost(job: WarpJob, rates: Rates) -> Cost:
    """The cost of a warp's pieces, planned or as it went.

    Raises Refusal for a warp without pieces, and for shares of seconds that can't be.
    """
    sheet = _Sheet(job, rates)
    _yarn(sheet)
    warping = sheet.by_the_hour(
        "warping",
        job.warping_min,
        rates.warping_per_h,
        of=job.name,
        said=NO_WARPING_RATE,
    )
    sheet.line("warping", warping, sheet.by_length())
    set_up = sheet.by_the_hour("set_up", job.set_up_min, rates.set_up_per_h, of=job.set_up, said=NO_SET_UP_RATE)
    sheet.line("set_up", set_up, sheet.by_length())
    weaving = sheet.by_the_hour(
        "weaving",
        job.weaving_min,
        rates.loom_per_h,
        of=job.name,
        said=NO_LOOM_RATE,
    )
    sheet.line("weaving", weaving, [piece.weaving for piece in job.pieces])
    _finishing(sheet)
    mending_min = sum((piece.mending_min for piece in job.pieces), start=Decimal(0))
    if mending_min:
        mending = sheet.by_the_hour("mending", mending_min, rates.mending_per_h, of="", said=NO_MENDING_RATE)
        sheet.line("mending", mending, [piece.mending_min for piece in job.pieces])
    _seconds(sheet)
    _overhead(sheet)
    return _summed(
        rates.currency,
        tuple(Bearer(piece.name, piece.grey_m, piece.finished_m, piece.finished_g) for piece in job.pieces),
        sheet.lines,
        sheet.missing,
        sheet.working.steps,
    )


def _yarn(sheet: _Sheet) -> None:
    """Warp yarn, less its thrums, which are the set-up's; and weft by the grams that each piece takes of it."""
    job = sheet.job
    amounts: dict[str, list[Decimal | None]] = {"warp": [], "weft": []}
    weft_shares = [Decimal(0)] * len(job.pieces)
    for n, used in enumerate(job.yarns):
        of = f"{used.code}, {OF_LOT % {'lot': used.lot}}" if used.lot else used.code
        if used.price is None:
            sheet.lacks(NO_PRICE % {"yarn": of})
            amounts[used.use].append(None)
            continue
        amount = sheet.step(
            f"yarn.{used.use}.{n}",
            used.grams * used.price.amount / 1000,
            f"{_of(f'{written(Decimal(used.grams) / 1000)} kg', used.said)} × {_at(used.price, sheet.rates.currency)}",
            rule="yarn",
            of=OF_YARN[used.use] % {"yarn": of},
        )
        amounts[used.use].append(amount)
        if used.use == "weft":
            by_grams = [piece.weft_g.get(used.code, Decimal(0)) for piece in job.pieces]
            shares = shared_out(amount, by_grams if any(by_grams) else sheet.by_length(), places=sheet.places)
            weft_shares = [had + share for had, share in zip(weft_shares, shares, strict=True)]
    warp = [one for one in amounts["warp"] if one is not None]
    if len(warp) == len(amounts["warp"]):
        spent = sum(warp, start=_coin(Decimal(0), sheet.places))
        thrums = sheet.step(
            "thrums",
            spent * job.thrums_m / job.warp_length_m,
            f"{spent} × {_of(f'{written(job.thrums_m)} m', job.said.get('thrums_m', ''))} ÷ "
            f"{_of(f'{written(job.warp_length_m)} m', job.said.get('warp_length_m', ''))}",
        )
        sheet.line("warp_yarn", sheet.step("warp_yarn", spent - thrums, f"{_plus(warp)} − {thrums}"), sheet.by_length())
        sheet.line("thrums", thrums, sheet.by_length())
    else:
        sheet.line("warp_yarn", None, ())
        sheet.line("thrums", None, ())
    weft = [one for one in amounts["weft"] if one is not None]
    if len(weft) == len(amounts["weft"]):
        spent = sheet.step("weft_yarn", sum(weft, start=Decimal(0)), _plus(weft))
        sheet.lines.append(CostLine("weft_yarn", COSTS["weft_yarn"].label, spent, tuple(weft_shares)))
    else:
        sheet.line("weft_yarn", None, ())


def _finishing(sheet: _Sheet) -> None:
    pieces = sheet.job.pieces
    steps = dict.fromkeys(name for piece in pieces for name, times in piece.passes.items() if times)
    amounts: list[Decimal | None] = []
    shares = [Decimal(0)] * len(pieces)
    for n, name in enumerate(steps):
        rate = sheet.rates.steps.get(name)
        if rate is None:
            sheet.lacks(NO_STEP_RATE % {"step": name})
        elif rate.basis == PER_DAY and not rate.m_per_day:
            sheet.lacks(NO_MACHINE % {"step": name})
            rate = None
        if rate is None:
            amounts.append(None)
            continue
        weights = [Decimal(piece.passes.get(name, 0)) * _size(piece, rate.basis) for piece in pieces]
        size = sum(weights, start=Decimal(0))
        price = _at(rate.rate, sheet.rates.currency)
        if rate.basis == PER_DAY:
            assert rate.m_per_day is not None
            value = size / rate.m_per_day
            metres = _of(f"{written(size)} m", sheet.job.said.get("grey", ""))
            said = f"{metres} ÷ {M_A_DAY % {'n': written(rate.m_per_day)}} × {price}"
        else:
            value, said = size, f"{_of(f'{written(size)} {rate.basis}', sheet.job.said.get('grey', ''))} × {price}"
        amount = sheet.step(f"finishing.{n}", value * rate.rate.amount, said, rule=f"finishing_{rate.basis}", of=name)
        amounts.append(amount)
        shares = [
            had + share for had, share in zip(shares, shared_out(amount, weights, places=sheet.places), strict=True)
        ]
    if not steps:
        return
    known = [one for one in amounts if one is not None]
    if len(known) < len(amounts):
        sheet.line("finishing", None, ())
        return
    spent = sheet.step("finishing", sum(known, start=Decimal(0)), _plus(known))
    sheet.lines.append(CostLine("finishing", COSTS["finishing"].label, spent, tuple(shares)))


def _size(piece: PieceJob, basis: str) -> Decimal:
    return Decimal(piece.grey_g) / 1000 if basis == PER_KG else piece.grey_m


def _share_of_seconds(sheet: _Sheet) -> tuple[Decimal, str]:
    """Of finished metres: what was judged once all of it is, else what the mill reckons with; and how that is said."""
    pieces = sheet.job.pieces
    if all(piece.is_second is not None for piece in pieces):
        seconds_m = sum((piece.finished_m for piece in pieces if piece.is_second), start=Decimal(0))
        all_m = sum((piece.finished_m for piece in pieces), start=Decimal(0))
        return seconds_m / all_m, AS_JUDGED % {"n_seconds": written(seconds_m), "n_all": written(all_m)}
    stated = sheet.rates.seconds_pct
    if stated is None:
        return Decimal(0), ""
    if not 0 <= stated.amount < 100:
        raise Refusal(f"{written(stated.amount)} % of seconds leave nothing to bear their cost: write under 100 %.")
    return stated.amount / 100, _at(stated, "%")


def _seconds(sheet: _Sheet) -> None:
    """The cost of seconds less what they fetch, borne by what is sold as first quality."""
    share, said = _share_of_seconds(sheet)
    if not share:
        return
    worth = sheet.rates.worth_pct
    if share >= 1:
        sheet.lacks(ALL_SECONDS)
    if worth is None:
        sheet.lacks(NO_WORTH)
    cost = sheet.so_far
    if cost is None or worth is None or share >= 1:
        sheet.line("seconds", None, ())
        return
    lost = max(Decimal(0), 1 - worth.amount / 100)
    amount = sheet.step(
        "seconds",
        cost * share * lost / (1 - share),
        SECONDS
        % {
            "sum": f"{cost} × s × (1 − {written(worth.amount)} %) ÷ (1 − s), s = {said}",
            "worth": _at(worth, "%"),
        },
    )
    sheet.line("seconds", amount, sheet.borne())


def _overhead(sheet: _Sheet) -> None:
    stated = sheet.rates.overhead_pct
    if stated is None or not stated.amount:
        return
    cost = sheet.so_far
    if cost is None:
        sheet.line("overhead", None, ())
        return
    amount = sheet.step("overhead", cost * stated.amount / 100, f"{cost} × {_at(stated, '%')}")
    sheet.line("overhead", amount, sheet.borne())


def _summed(
    currency: str,
    pieces: tuple[Bearer, ...],
    lines: Iterable[CostLine],
    missing: Iterable[str],
    steps: Sequence[Step],
) -> Cost:
    """The sheet with its sum and what that comes to by the metre and the kilogram, as its last steps."""
    in_order = tuple(sorted(lines, key=lambda line: LINES.index(line.name)))
    cost = Cost(currency, pieces, in_order, tuple(missing), ())
    return replace(cost, working=(*steps, *_sums(cost)))


def _sums(cost: Cost) -> list[Step]:
    if cost.total is None:
        return []
    total, per_m = cost.total, cost.per_m
    assert per_m is not None
    amounts = [line.amount for line in cost.lines if line.amount is not None]
    found = [("total", total, _plus(amounts)), ("per_m", per_m, f"{total} ÷ {written(cost.finished_m)} m")]
    if cost.per_kg is not None:
        found.append(("per_kg", cost.per_kg, f"{total} ÷ {written(cost.finished_kg)} kg"))
    return [
        Step(name, COSTS[name].label, COSTS[name].formula, sum, value, cost.currency, COSTS[name].source)
        for name, value, sum in found
    ]


SUMS = frozenset(("total", "per_m", "per_kg"))


# What led to a line.

# Steps that stand before a line's own.
BEFORE = {"warp_yarn": ("yarn.warp",), "thrums": ("yarn.warp",), "weft_yarn": ("yarn.weft",)}


def steps_of(working: Sequence[Step], line: str) -> tuple[Step, ...]:
    """The steps that led to a line of a cost sheet, or to one of its sums; the last gives the line's amount."""
    begins = (line, f"share.{line}", *BEFORE.get(line, ()))
    names = [(_own_name(step.name), step) for step in working]
    return tuple(step for name, step in names if any(name == one or name.startswith(f"{one}.") for one in begins))


def _own_name(name: str) -> str:
    """Without the part of several costs that it is of.

    >>> _own_name("0.yarn.warp.1"), _own_name("finishing.2"), _own_name("total")
    ('yarn.warp.1', 'finishing.2', 'total')
    """
    part, _, rest = name.partition(".")
    return rest if part.isdigit() else name


# Some of the pieces, and several warps together.


def of_pieces(cost: Cost, names: Iterable[str], *, called: str = "") -> Cost:
    """The share of some pieces in what their warp costs, with the step that says so.

    called    what they are together: "line 2041/1"
    """
    wanted = set(names)
    at = [n for n, piece in enumerate(cost.pieces) if piece.name in wanted]
    assert len(at) == len(wanted), "a piece that is not of this warp"
    steps = [step for step in cost.working if step.name not in SUMS]
    pieces = tuple(cost.pieces[n] for n in at)
    lines = []
    for line in cost.lines:
        if line.amount is None or line.shares is None:
            lines.append(line)
            continue
        own = sum((line.shares[n] for n in at), start=Decimal(0))
        lines.append(CostLine(line.name, line.label, own, tuple(line.shares[n] for n in at)))
        if len(at) < len(cost.pieces):
            words = COSTS["share"]
            label = words.label % {
                "of": called or ", ".join(piece.name for piece in pieces),
                "what": line.label.lower(),
            }
            said = f"{SHARE_OF % {'n': own, 'n_all': line.amount}}, {_base_said(cost, line.name, pieces)}"
            steps.append(Step(f"share.{line.name}", label, words.formula, said, own, cost.currency, words.source))
    return _summed(cost.currency, pieces, lines, cost.missing, steps)


def of_figures(warp: str) -> str:
    """That a quantity is from the figures of a warp, which may be the only one there is."""
    return OF_THE_WARP if warp == THE_WARP else OF_FIGURES % {"warp": warp}


def _base_said(cost: Cost, name: str, pieces: Sequence[Bearer]) -> str:
    match name:
        case "warp_yarn" | "warping" | "thrums" | "set_up":
            own_m = sum((piece.grey_m for piece in pieces), start=Decimal(0))
            return BY_LENGTH % {"n": written(own_m), "n_all": written(cost.grey_m)}
        case _:
            return BY.get(name, BY[""])


def together(costs: Sequence[tuple[str, Cost]]) -> Cost:
    """Several costs as one: lines added by name, each part's working under its own name.

    Raises Refusal where they are not of one currency.
    """
    assert costs
    if len(costs) == 1:
        return costs[0][1]
    currencies = {cost.currency for _, cost in costs}
    if len(currencies) > 1:
        raise Refusal(f"{' and '.join(sorted(currencies))} can't be added. Work all of it out in one currency.")
    names = [name for name in LINES if any(line.name == name for _, cost in costs for line in cost.lines)]
    lines: list[CostLine] = []
    steps: list[Step] = []
    for name in names:
        amounts: list[Decimal | None] = []
        shares: list[Decimal] = []
        for _, cost in costs:
            amounts.append(cost.amount_of(name))
            own = next((line.shares for line in cost.lines if line.name == name), None)
            shares += own if own is not None else [Decimal(0)] * len(cost.pieces)
        known = [one for one in amounts if one is not None]
        whole = len(known) == len(amounts)
        amount = sum(known, start=Decimal(0)) if whole else None
        lines.append(CostLine(name, COSTS[name].label, amount, tuple(shares) if whole else None))
    for n, (called, cost) in enumerate(costs):
        steps += [
            replace(step, name=f"{n}.{step.name}", label=OF_PART % {"part": called, "label": step.label})
            for step in cost.working
            if step.name not in SUMS
        ]
    for line in lines:
        if line.amount is not None:
            words = COSTS[line.name]
            added = _plus(cost.amount_of(line.name) or Decimal(0) for _, cost in costs)
            label, formula = IN_ALL % {"label": line.label}, f"{' + '.join(called for called, _ in costs)}"
            steps.append(Step(line.name, label, formula, added, line.amount, next(iter(currencies)), words.source))
    missing = dict.fromkeys(said for _, cost in costs for said in cost.missing)
    pieces = tuple(piece for _, cost in costs for piece in cost.pieces)
    return _summed(currencies.pop(), pieces, lines, missing, steps)


# Planned beside actual, and the price.


@dataclass(frozen=True, slots=True)
class Compared:
    """A line, planned and as it went; `off` is how much more it came to, None where one of them is not known."""

    name: str
    label: str
    planned: Decimal | None
    actual: Decimal | None
    off: Decimal | None


def compare(planned: Cost, actual: Cost) -> tuple[Compared, ...]:
    """Line by line; the sum, and what it comes to a finished metre, last."""
    rows = [
        (name, COSTS[name].label, planned.amount_of(name), actual.amount_of(name))
        for name in LINES
        if any(line.name == name for cost in (planned, actual) for line in cost.lines)
    ]
    rows += [
        ("total", COSTS["total"].label, planned.total, actual.total),
        ("per_m", COSTS["per_m"].label, planned.per_m, actual.per_m),
    ]
    return tuple(
        Compared(name, label, was, went, None if was is None or went is None else went - was)
        for name, label, was, went in rows
    )


@dataclass(frozen=True, slots=True)
class Price:
    """What is asked for pieces.

    per_m     of finished cloth, rounded up to the smallest coin
    total     that by all finished metres
    margin    what of it is left over the cost
    """

    per_m: Decimal
    total: Decimal
    margin: Decimal
    working: tuple[Step, ...]


def price_of(cost: Cost, *, margin_pct: Decimal) -> Price:
    """The price that leaves a margin, as a share of the price and not of the cost.

    >>> bearer = Bearer("1", Decimal(64), Decimal(60), 30_000)
    >>> sheet = Cost("GBP", (bearer,), (CostLine("weaving", "Weaving", Decimal(900), (Decimal(900),)),), (), ())
    >>> price_of(sheet, margin_pct=Decimal(25)).per_m
    Decimal('20.00')

    Raises Refusal where the cost is not known, and for a margin of all the price.
    """
    if cost.total is None:
        raise Refusal(
            N_("There is no price without the cost. %(missing)s State it under Mill."), missing=" ".join(cost.missing)
        )
    if not 0 <= margin_pct < 100:
        raise Refusal(
            N_("A margin of %(pct)s %% can't be: it is a share of the price, under 100 %%."),
            field="margin_pct",
            pct=Decimal(written(margin_pct)),
        )
    # What a division leaves behind after its last digit is not rounded up; the digits suffice for any amount.
    with localcontext(prec=50):
        exact = cost.total / cost.finished_m / (1 - margin_pct / 100)
        per_m = exact.quantize(Decimal("1e-12")).quantize(Decimal(1).scaleb(-cost.places), ROUND_CEILING)
    total = _coin(per_m * cost.finished_m, cost.places)
    steps = [
        ("price_per_m", per_m, f"{cost.total} ÷ {written(cost.finished_m)} m ÷ (1 − {written(margin_pct)} %)"),
        ("price", total, f"{per_m} × {written(cost.finished_m)} m"),
        ("margin", total - cost.total, f"{total} − {cost.total}"),
    ]
    working = tuple(
        Step(name, COSTS[name].label, COSTS[name].formula, sum, value, cost.currency, COSTS[name].source)
        for name, value, sum in steps
    )
    return Price(per_m, total, total - cost.total, working)


# From a warp's figures.


def planned_job(
    figures: Figures,
    *,
    name: str,
    prices: Mapping[str, Stated],
    set_up: str,
    set_up_min: int,
    priced_steps: Collection[str] = (),
    mending_min_per_100_m: Decimal = Decimal(0),
    weaving_min: int | None = None,
    said: Mapping[str, str] | None = None,
) -> WarpJob:
    """A warp as its figures plan it.

    prices          of yarns, by code; what is not among them has none
    priced_steps    what of looking and mending the mill has stated a rate for; other such steps cost nothing apart
    weaving_min     for figures without a loom
    said            where quantities come from that the warp's figures don't have

    Its pieces are called as the order line and their number in it: "2041/1 no. 2".
    """
    minutes = figures.weaving_min if figures.weaving_min is not None else weaving_min
    assert minutes is not None, "no loom and no minutes"
    pieces = []
    for run in figures.runs:
        # A step that stands several times in the route, raise and crop, is paid each time.
        passes = Counter(
            target.name for target in run.targets if target.name in priced_steps or not is_at_the_perch(target.name)
        )
        pieces += [
            PieceJob(
                name=PIECE_OF_LINE % {"line": run.line, "n": n},
                grey_m=run.grey_length_m,
                finished_m=run.finished_length_m,
                grey_g=run.grey_piece_g,
                finished_g=run.finished_piece_g,
                weaving=Decimal(run.picks_per_piece),
                weft_g={need.code: Decimal(need.issue_g) / run.pieces for need in run.weft},
                passes=passes,
                mending_min=run.grey_length_m * mending_min_per_100_m / 100,
            )
            for n in range(1, run.pieces + 1)
        ]
    own = of_figures(name)
    from_figures = ("warping_min", "weaving_min", "warp_length_m", "thrums_m", "grey")
    return WarpJob(
        name=name,
        yarns=tuple(
            YarnUsed(need.use, need.code, need.issue_g, prices.get(need.code), said=f"{WITH_WASTE}, {own}")
            for need in (*figures.warp_yarns, *figures.weft_yarns)
        ),
        warp_length_m=figures.warp_length_m,
        thrums_m=figures.thrums_m,
        warping_min=figures.warping_min,
        set_up=set_up,
        set_up_min=set_up_min,
        weaving_min=minutes,
        pieces=tuple(pieces),
        said={**dict.fromkeys(from_figures, own), **(said or {})},
    )
