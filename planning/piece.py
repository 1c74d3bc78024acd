"""The piece: grading, and measured against planned. Knows no loom, stock or customer."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from mill.refusal import N_, Refusal, in_words
from mill.working import Step, Working

DEFINED = N_("by definition")

M_PER_YD = Decimal("0.9144")
MM_PER_IN = Decimal("25.4")
M2_PER_YD2 = M_PER_YD * M_PER_YD

MOST_POINTS = 4

# Agreed with each customer; 40 in 100 square yards is a common figure. Common practice, no source.
COMMON_LIMIT_PER_100_YD2 = Decimal(40)


@dataclass(frozen=True, slots=True)
class FaultBands:
    """How long a fault may be for 1, 2 and 3 points; a longer one has 4.

    up_to_mm       the longest fault of 1, 2 and 3 points
    hole_up_to_mm  the widest hole of 2 points; a wider one has 4
    run_m          no such length of cloth has more than 4 points
    """

    key: str
    up_to_mm: tuple[Decimal, Decimal, Decimal]
    hole_up_to_mm: Decimal
    run_m: Decimal
    authority: str


INCH_BANDS = FaultBands(
    "inch",
    (3 * MM_PER_IN, 6 * MM_PER_IN, 9 * MM_PER_IN),
    MM_PER_IN,
    M_PER_YD,
    "ASTM D5430, four-point; holes as commonly printed with it",
)
METRIC_BANDS = FaultBands(
    "metric",
    (Decimal(75), Decimal(150), Decimal(230)),
    Decimal(25),
    Decimal(1),
    "the inch bands rounded as they are commonly printed: common practice, no source",
)
FAULT_BANDS: dict[str, FaultBands] = {bands.key: bands for bands in (INCH_BANDS, METRIC_BANDS)}


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault as the percher finds it.

    at_m         where it begins, from the head of the piece; 0 or more
    length_mm    in its longest direction, along or across; above 0
    is_hole      a hole or an open place, which counts more than its length
    name         what it is: float, stain, broken pick
    """

    at_m: Decimal
    length_mm: Decimal
    is_hole: bool = False
    name: str = ""

    def __post_init__(self) -> None:
        if self.at_m < 0:
            raise Refusal(N_("A fault at %(at)s m lies before the piece begins. Measure from its head."), at=self.at_m)
        if self.length_mm <= 0:
            raise Refusal(
                N_("A fault of %(length)s mm is none. Measure it in its longest direction."), length=self.length_mm
            )


def fault_points(fault: Fault, *, bands: FaultBands = METRIC_BANDS) -> int:
    """Points of one fault, 1 to 4.

    >>> fault_points(Fault(Decimal(12), Decimal(160)))
    3
    >>> fault_points(Fault(Decimal(12), Decimal(20), is_hole=True))
    2

    Source: ASTM D5430: up to 3 in 1 point, to 6 in 2, to 9 in 3, over 9 in 4. Holes: up to 1 in 2, wider 4, common
    practice.
    """
    if fault.is_hole:
        return 2 if fault.length_mm <= bands.hole_up_to_mm else MOST_POINTS
    for points, up_to_mm in enumerate(bands.up_to_mm, start=1):
        if fault.length_mm <= up_to_mm:
            return points
    return MOST_POINTS


def piece_points(faults: Iterable[Fault], *, bands: FaultBands = METRIC_BANDS) -> int:
    """Points of all faults together, at most 4 on any one metre, or yard, of the piece.

    A fault counts where it begins; one longer than a metre (yard) has 4 points on each that it reaches.

    >>> piece_points([Fault(Decimal("3.2"), Decimal(240)), Fault(Decimal("3.9"), Decimal(50))])
    4
    >>> piece_points([Fault(Decimal("3.2"), Decimal(240)), Fault(Decimal("4.1"), Decimal(50))])
    5

    Source: ASTM D5430, at most 4 points to a linear yard; the metre in its place is common practice.
    """
    return sum(points_by_run(faults, bands=bands).values())


def points_by_run(faults: Iterable[Fault], *, bands: FaultBands = METRIC_BANDS) -> dict[int, int]:
    """The same by metre, or yard, of the piece, counted from 0; those without a fault left out.

    >>> points_by_run([Fault(Decimal("3.2"), Decimal(240)), Fault(Decimal("3.9"), Decimal(50))])
    {3: 4}
    """
    by_run: Counter[int] = Counter()
    for fault in faults:
        points = fault_points(fault, bands=bands)
        length_m = fault.length_mm / 1000
        first = int(fault.at_m / bands.run_m)
        by_run[first] += points
        if length_m > bands.run_m:
            at = first + 1
            while at * bands.run_m < fault.at_m + length_m:
                by_run[at] += points
                at += 1
    return {run: min(points, MOST_POINTS) for run, points in sorted(by_run.items())}


def points_per_100_m2(points: int, *, length_m: Decimal, width_cm: Decimal) -> Decimal:
    """Points in 100 square metres of a piece; unrounded.

    points       of the whole piece; 0 or more
    length_m, width_cm    measured relaxed, free of tension (ISO 22198); above 0

    >>> points_per_100_m2(24, length_m=Decimal(80), width_cm=Decimal(150))
    Decimal('20')

    Raises Refusal for a piece without length or width.
    Source: ASTM D5430.
    """
    if points < 0:
        raise Refusal(N_("A piece can't have %(points)s points: write 0 or more."), points=points)
    return points * 10000 / (_above_nought(length_m, LENGTH, "m") * _above_nought(width_cm, WIDTH, "cm"))


def points_per_100_yd2(points: int, *, length_m: Decimal, width_cm: Decimal) -> Decimal:
    """Points in 100 square yards of a piece; unrounded. As `points_per_100_m2` otherwise.

    >>> points_per_100_yd2(24, length_m=120 * M_PER_YD, width_cm=46 * Decimal("2.54")).quantize(Decimal("0.01"))
    Decimal('15.65')

    Source: ASTM D5430: points x 3600 / (yards x inches).
    """
    return points_per_100_m2(points, length_m=length_m, width_cm=width_cm) * M2_PER_YD2


def limit_per_100_m2(limit_per_100_yd2: Decimal) -> Decimal:
    """A customer's limit for 100 square yards, for 100 square metres.

    >>> limit_per_100_m2(COMMON_LIMIT_PER_100_YD2).quantize(Decimal("0.1"))
    Decimal('47.8')
    """
    return limit_per_100_yd2 / M2_PER_YD2


# One point, and several.
@dataclass(frozen=True, slots=True)
class Grade:
    """A piece as it was graded.

    passes    at or under the customer's limit
    said      the grade in a sentence, with both numbers
    """

    points: int
    points_per_100_m2: Decimal
    points_per_100_yd2: Decimal
    limit_per_100_m2: Decimal
    passes: bool

    @property
    def said(self) -> str:
        if self.points == 1:
            passes = N_("%(points)s point is %(per)s in 100 m²; the limit is %(limit)s: it passes.")
            fails = N_("%(points)s point is %(per)s in 100 m²; the limit is %(limit)s: it does not pass.")
        else:
            passes = N_("%(points)s points are %(per)s in 100 m²; the limit is %(limit)s: it passes.")
            fails = N_("%(points)s points are %(per)s in 100 m²; the limit is %(limit)s: it does not pass.")
        return in_words(
            passes if self.passes else fails,
            points=self.points,
            # Upwards, so that a piece just over the limit is not shown on it.
            per=Decimal(_shown(self.points_per_100_m2, rounding=ROUND_CEILING)),
            limit=Decimal(_shown(self.limit_per_100_m2)),
        )


def grade(
    faults: Sequence[Fault],
    *,
    length_m: Decimal,
    width_cm: Decimal,
    limit_per_100_m2: Decimal,
    bands: FaultBands = METRIC_BANDS,
) -> Grade:
    """A piece graded from its faults.

    length_m, width_cm    measured relaxed; above 0
    limit_per_100_m2      agreed with the customer; 0 or more

    >>> grade(
    ...     [Fault(Decimal(10), Decimal(240)), Fault(Decimal(40), Decimal(60))],
    ...     length_m=Decimal(50),
    ...     width_cm=Decimal(150),
    ...     limit_per_100_m2=Decimal(40),
    ... ).said
    '5 points are 6.67 in 100 m²; the limit is 40: it passes.'

    Raises Refusal for a fault beyond the end of the piece and for a piece without length or width.
    Source: ASTM D5430; the limit is the customer's.
    """
    for fault in faults:
        if fault.at_m > length_m:
            raise beyond(fault, length_m=length_m)
    points = piece_points(faults, bands=bands)
    return grade_points(points, length_m=length_m, width_cm=width_cm, limit_per_100_m2=limit_per_100_m2)


def beyond(fault: Fault, *, length_m: Decimal, field: str | None = None) -> Refusal:
    """Of a fault that lies after the end of its piece."""
    return Refusal(
        N_("A fault at %(at)s m lies beyond the piece, which ends at %(length)s m. Measure again."),
        field=field,
        at=fault.at_m,
        length=length_m,
    )


def grade_points(points: int, *, length_m: Decimal, width_cm: Decimal, limit_per_100_m2: Decimal) -> Grade:
    """A piece graded from points that were counted already; as `grade` otherwise.

    >>> grade_points(
    ...     30, length_m=Decimal(60), width_cm=Decimal(100), limit_per_100_m2=Decimal("47.8")
    ... ).passes
    False
    """
    if limit_per_100_m2 < 0:
        raise Refusal(N_("A limit of %(limit)s points can't be: write 0 or more."), limit=limit_per_100_m2)
    per_m2 = points_per_100_m2(points, length_m=length_m, width_cm=width_cm)
    return Grade(
        points=points,
        points_per_100_m2=per_m2,
        points_per_100_yd2=per_m2 * M2_PER_YD2,
        limit_per_100_m2=limit_per_100_m2,
        passes=per_m2 <= limit_per_100_m2,
    )


def grade_working(
    graded: Grade, *, length_m: Decimal, width_cm: Decimal, limit_per_100_yd2: Decimal
) -> tuple[Step, ...]:
    """How a grade came about: the points in 100 m², upwards as they are shown, beside the customer's limit.

    >>> graded = grade_points(24, length_m=Decimal(60), width_cm=Decimal(150), limit_per_100_m2=Decimal("47.84"))
    >>> steps = grade_working(
    ...     graded, length_m=Decimal(60), width_cm=Decimal(150), limit_per_100_yd2=COMMON_LIMIT_PER_100_YD2
    ... )
    >>> [(step.sum, step.value) for step in steps]
    [('24 × 10 000 ÷ (60 × 150)', Decimal('26.67')), ('40 ÷ 0.9144²', Decimal('47.84'))]
    """
    steps = Working()
    steps.add(
        graded.points_per_100_m2.quantize(Decimal("0.01"), rounding=ROUND_CEILING),
        name="points_per_100_m2",
        label=N_("In 100 m²"),
        formula=N_("points × 10 000 ÷ (metres × cm)"),
        sum=f"{graded.points} × 10 000 ÷ ({_shown(length_m)} × {_shown(width_cm)})",
        unit="points",
        source="ASTM D5430",
    )
    steps.add(
        graded.limit_per_100_m2.quantize(Decimal("0.01"), ROUND_HALF_UP),
        name="limit_per_100_m2",
        label=N_("Limit in 100 m²"),
        formula=N_("limit in 100 yd² ÷ 0.9144²"),
        sum=f"{_shown(limit_per_100_yd2)} ÷ 0.9144²",
        unit="points",
        source=N_("agreed with the customer; 40 is common practice"),
    )
    return tuple(steps.steps)


@dataclass(frozen=True, slots=True)
class Measured:
    """A piece at grey perch and at final perch, measured relaxed; its mass when finished, None when not weighed."""

    grey_length_m: Decimal
    grey_width_cm: Decimal
    finished_length_m: Decimal
    finished_width_cm: Decimal
    mass_g: int | None = None


@dataclass(frozen=True, slots=True)
class Planned:
    """The same piece on its ticket, its width with selvedges. Shrinkages on the grey size; g_per_m2 finished."""

    finished_length_m: Decimal
    finished_width_cm: Decimal
    length_shrink_pct: Decimal
    width_shrink_pct: Decimal
    g_per_m2: Decimal


@dataclass(frozen=True, slots=True)
class Comparison:
    """Measured against planned; everything unrounded.

    length_shrink_pct, width_shrink_pct    measured, on the grey size; below 0 where the piece grew
    *_off_pct      percentage points more than planned; below 0 for less
    length_off_m, width_off_cm             finished piece more than planned
    g_per_m2, g_per_m2_off_pct             measured, and percent more than planned; None when not weighed
    """

    length_shrink_pct: Decimal
    width_shrink_pct: Decimal
    length_shrink_off_pct: Decimal
    width_shrink_off_pct: Decimal
    length_off_m: Decimal
    width_off_cm: Decimal
    g_per_m2: Decimal | None
    g_per_m2_off_pct: Decimal | None


def compare(measured: Measured, planned: Planned) -> Comparison:
    """A finished piece against its ticket.

    >>> found = compare(
    ...     Measured(Decimal(64), Decimal(160), Decimal(60), Decimal(144), mass_g=25920),
    ...     Planned(Decimal(60), Decimal(150), Decimal("6.25"), Decimal("6.25"), Decimal(320)),
    ... )
    >>> found.length_shrink_off_pct, found.width_shrink_off_pct, found.width_off_cm, found.g_per_m2
    (Decimal('0.00'), Decimal('3.75'), Decimal('-6'), Decimal('300'))

    Raises Refusal for a measure of 0 or less.
    Source: shrinkage is a share of the size before finishing (relaxed measures, ISO 22198).
    """
    length_shrink_pct = shrink_pct(grey=measured.grey_length_m, finished=measured.finished_length_m)
    width_shrink_pct = shrink_pct(grey=measured.grey_width_cm, finished=measured.finished_width_cm)
    g_per_m2 = None
    if measured.mass_g is not None:
        g_per_m2 = mass_g_per_m2(
            measured.mass_g, length_m=measured.finished_length_m, width_cm=measured.finished_width_cm
        )
    off_pct = None
    if g_per_m2 is not None:
        off_pct = 100 * g_per_m2 / _above_nought(planned.g_per_m2, MASS, "g/m²") - 100
    return Comparison(
        length_shrink_pct=length_shrink_pct,
        width_shrink_pct=width_shrink_pct,
        length_shrink_off_pct=length_shrink_pct - planned.length_shrink_pct,
        width_shrink_off_pct=width_shrink_pct - planned.width_shrink_pct,
        length_off_m=measured.finished_length_m - planned.finished_length_m,
        width_off_cm=measured.finished_width_cm - planned.finished_width_cm,
        g_per_m2=g_per_m2,
        g_per_m2_off_pct=off_pct,
    )


SHRANK = N_("Shrank in length"), N_("Shrank in width")
OFF = N_("Off the plan in length"), N_("Off the plan in width")


def working(measured: Measured, planned: Planned) -> tuple[Step, ...]:
    """How a piece's figures against its plan came about; nothing rounded on the way, each as it is shown."""
    found, steps = compare(measured, planned), Working()
    for name, shrank, against_plan, grey, came, pct, off_pct, plan_pct, unit in (
        (
            *("length_shrink", SHRANK[0], OFF[0], measured.grey_length_m, measured.finished_length_m),
            *(found.length_shrink_pct, found.length_shrink_off_pct, planned.length_shrink_pct, "m"),
        ),
        (
            *("width_shrink", SHRANK[1], OFF[1], measured.grey_width_cm, measured.finished_width_cm),
            *(found.width_shrink_pct, found.width_shrink_off_pct, planned.width_shrink_pct, "cm"),
        ),
    ):
        steps.add(
            _tenths(pct),
            name=f"{name}_pct",
            label=shrank,
            formula=N_("(grey − finished) ÷ grey"),
            sum=f"({_shown(grey)} {unit} − {_shown(came)} {unit}) ÷ {_shown(grey)} {unit}",
            unit="%",
            source=N_("shrinkage is a share of the size before finishing; relaxed measures, ISO 22198"),
        )
        steps.add(
            _tenths(off_pct),
            name=f"{name}_off_pct",
            label=against_plan,
            formula=N_("as measured − as the route’s steps together have it"),
            sum=f"{_shown(pct)} % − {_shown(plan_pct)} %",
            unit="percentage points",
            source=DEFINED,
        )
    for name, label, rule, came, plan, off, unit in (
        (
            *("length_off_m", N_("Length against the order"), N_("as measured − as ordered")),
            *(measured.finished_length_m, planned.finished_length_m, found.length_off_m, "m"),
        ),
        (
            *("width_off_cm", N_("Width against the cloth"), N_("as measured − as its ticket has it, with selvedges")),
            *(measured.finished_width_cm, planned.finished_width_cm, found.width_off_cm, "cm"),
        ),
    ):
        steps.add(
            _tenths(off),
            name=name,
            label=label,
            formula=rule,
            sum=f"{_shown(came)} {unit} − {_shown(plan)} {unit}",
            unit=unit,
            source=DEFINED,
        )
    if found.g_per_m2 is not None and measured.mass_g is not None:
        steps.add(
            found.g_per_m2.quantize(Decimal(1), ROUND_HALF_UP),
            name="g_per_m2",
            label=N_("Square mass"),
            formula=N_("mass × 100 ÷ (length × width)"),
            sum=f"{measured.mass_g} g × 100 ÷ ({_shown(measured.finished_length_m)} m × "
            f"{_shown(measured.finished_width_cm)} cm)",
            unit="g/m²",
            source=DEFINED,
        )
    return tuple(steps.steps)


def _tenths(value: Decimal) -> Decimal:
    return value.quantize(Decimal("0.1"), ROUND_HALF_UP)


def shrink_pct(*, grey: Decimal, finished: Decimal) -> Decimal:
    """Shrinkage of a piece as a share of its grey size; below 0 where it grew. Lengths or widths, in one unit.

    >>> shrink_pct(grey=Decimal(64), finished=Decimal(60))
    Decimal('6.25')

    Source: (grey - finished) / grey.
    """
    _above_nought(grey, GREY_SIZE, "")
    _above_nought(finished, FINISHED_SIZE, "")
    return 100 * (grey - finished) / grey


def mass_g_per_m2(mass_g: int | Decimal, *, length_m: Decimal, width_cm: Decimal) -> Decimal:
    """Grams in a square metre of a weighed piece; all above 0; unrounded.

    >>> mass_g_per_m2(25920, length_m=Decimal(60), width_cm=Decimal(144))
    Decimal('300')
    """
    mass = _above_nought(Decimal(mass_g), MASS, "g")
    return mass * 100 / (_above_nought(length_m, LENGTH, "m") * _above_nought(width_cm, WIDTH, "cm"))


def length_m_of_mass(mass_g: int | Decimal, *, g_per_m2: Decimal, width_cm: Decimal) -> Decimal:
    """Metres that a piece of this mass should have: a check on its measured length; all above 0; unrounded.

    >>> length_m_of_mass(25920, g_per_m2=Decimal(300), width_cm=Decimal(144))
    Decimal('60')

    Source: onlineclothingstudy.com (2012) has the same sum for rolls of knitted cloth.
    """
    mass = _above_nought(Decimal(mass_g), MASS, "g")
    return mass * 100 / (_above_nought(g_per_m2, MASS, "g/m²") * _above_nought(width_cm, WIDTH, "cm"))


@dataclass(frozen=True, slots=True)
class Delivery:
    """Pieces sent against an order line.

    least_m, most_m    what the tolerance lets the customer accept
    off_m              sent more than ordered
    said               in a sentence, with both numbers
    """

    sent_m: Decimal
    ordered_m: Decimal
    least_m: Decimal
    most_m: Decimal
    off_m: Decimal
    tolerance_pct: Decimal
    is_within: bool

    @property
    def said(self) -> str:
        if not self.off_m:
            form = N_("%(sent)s m for %(ordered)s m ordered: as ordered.")
        elif self.off_m < 0 and self.is_within:
            form = N_("%(sent)s m for %(ordered)s m ordered: %(off)s m short, within the tolerance of %(pct)s %%.")
        elif self.off_m < 0:
            form = N_("%(sent)s m for %(ordered)s m ordered: %(off)s m short, beyond the tolerance of %(pct)s %%.")
        elif self.is_within:
            form = N_("%(sent)s m for %(ordered)s m ordered: %(off)s m over, within the tolerance of %(pct)s %%.")
        else:
            form = N_("%(sent)s m for %(ordered)s m ordered: %(off)s m over, beyond the tolerance of %(pct)s %%.")
        facts = {"sent": self.sent_m, "ordered": self.ordered_m, "off": abs(self.off_m), "pct": self.tolerance_pct}
        return in_words(form, **{name: Decimal(_shown(value)) for name, value in facts.items()})


def against_order(lengths_m: Iterable[Decimal], *, ordered_m: Decimal, tolerance_pct: Decimal) -> Delivery:
    """Finished pieces, taken together, against what was ordered.

    lengths_m        finished, each 0 or more
    ordered_m        above 0
    tolerance_pct    more or less, of what was ordered; 0 to under 100

    >>> against_order([Decimal("58.5"), Decimal("59.1")], ordered_m=Decimal(120), tolerance_pct=Decimal("2.5")).said
    '117.6 m for 120 m ordered: 2.4 m short, within the tolerance of 2.5 %.'

    Raises Refusal for an order of no length and for a tolerance of 100 % or more.
    Source: 2.5 % per colourway stands in one set of export terms; the mill writes its own.
    """
    _above_nought(ordered_m, ORDER, "m")
    if not 0 <= tolerance_pct < 100:
        raise Refusal(N_("A tolerance of %(pct)s %% can't be: write from 0 to under 100 %%."), pct=tolerance_pct)
    sent_m = Decimal(0)
    for length_m in lengths_m:
        if length_m < 0:
            raise Refusal(N_("A piece of %(length)s m can't be: write 0 m or more."), length=length_m)
        sent_m += length_m
    least_m = ordered_m * (100 - tolerance_pct) / 100
    most_m = ordered_m * (100 + tolerance_pct) / 100
    off_m = sent_m - ordered_m
    return Delivery(
        sent_m=sent_m,
        ordered_m=ordered_m,
        least_m=least_m,
        most_m=most_m,
        off_m=off_m,
        tolerance_pct=tolerance_pct,
        is_within=least_m <= sent_m <= most_m,
    )


LENGTH = N_("The length can't be %(value)s m: write more than 0.")
WIDTH = N_("The width can't be %(value)s cm: write more than 0.")
MASS = N_("The mass can't be %(value)s %(unit)s: write more than 0.")
ORDER = N_("The order can't be %(value)s m: write more than 0.")
GREY_SIZE = N_("The grey size can't be %(value)s: write more than 0.")
FINISHED_SIZE = N_("The finished size can't be %(value)s: write more than 0.")


def _above_nought(value: Decimal, no: str, unit: str) -> Decimal:
    if value <= 0:
        raise Refusal(no, value=value, unit=unit)
    return value


def _shown(value: Decimal, *, rounding: str = ROUND_HALF_UP) -> str:
    return f"{value.quantize(Decimal('0.01'), rounding=rounding).normalize():f}"
