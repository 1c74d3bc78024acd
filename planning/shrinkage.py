"""Shrinkage learned: what measured pieces say of a cloth's route, and how much more to weave. Knows no piece or order.

The distribution assumed throughout is the normal one: shrinkages of one cloth through one route scatter round a mean as
many small causes add up. It is an assumption, and the page says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from functools import lru_cache
from math import exp, fsum, inf, lgamma, log, sqrt
from statistics import NormalDist, median

from mill.refusal import N_, Refusal, in_words

# Under so many pieces the mill gets figures and no advice. The mill's own rule, no source.
PIECES_LEAST = 5
# Of the modified z-score; Iglewicz and Hoaglin (1993), as the NIST/SEMATECH e-Handbook 1.3.5.17 recommends it.
OUTLIER_Z = 3.5
# Evidence that says otherwise in fewer than 1 of 20 cases, and by so much that a revision is worth its trouble.
CONFIDENCE = 0.95
WORTH_PCT = Decimal("0.5")

# The distributions, by numeric methods of their own: nothing here needs a table.


def beta_share(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function I_x(a, b).

    Source: the continued fraction of the standard texts, evaluated by Lentz's method; checked against printed tables of
    Student's t in the tests.
    """
    if x <= 0 or x >= 1:
        return min(max(x, 0.0), 1.0)
    if x > (a + 1) / (a + b + 2):
        return 1 - beta_share(1 - x, b, a)
    tiny = 1e-300
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1 - x)) / a
    c, d = 1.0, 1 - (a + b) * x / (a + 1)
    d = 1 / (d if abs(d) > tiny else tiny)
    f = d
    for m in range(1, 300):
        for top in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1 + top * d
            d = 1 / (d if abs(d) > tiny else tiny)
            c = 1 + top / c
            c = c if abs(c) > tiny else tiny
            f *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return front * f


def gamma_share(x: float, a: float) -> float:
    """The regularised lower incomplete gamma function P(a, x), by its series or its continued fraction."""
    if x <= 0:
        return 0.0
    front = exp(a * log(x) - x - lgamma(a))
    if x < a + 1:
        term = total = 1 / a
        n = a
        while abs(term) > abs(total) * 1e-16:
            n += 1
            term *= x / n
            total += term
        return front * total
    b, c, d = x + 1 - a, 1e300, 1 / (x + 1 - a)
    f = d
    for i in range(1, 1000):
        an = -i * (i - a)
        b += 2
        d = 1 / (an * d + b)
        c = b + an / c
        f *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return 1 - front * f


def t_share(t: float, freedom: float) -> float:
    """The share of Student's distribution below t."""
    tail = beta_share(freedom / (freedom + t * t), freedom / 2, 0.5) / 2
    return 1 - tail if t > 0 else tail


@lru_cache(maxsize=4096)
def t_quantile(share: float, freedom: float) -> float:
    """The t below which this share of Student's distribution lies.

    >>> round(t_quantile(0.975, 4), 3), round(t_quantile(0.95, 10), 3)
    (2.776, 1.812)
    """
    assert 0 < share < 1
    assert freedom >= 1
    if share < 0.5:
        return -t_quantile(1 - share, freedom)
    return _root(lambda t: t_share(t, freedom), share)


def chi2_quantile(share: float, freedom: float) -> float:
    """The chi-square below which this share lies.

    >>> round(chi2_quantile(0.01, 42), 3)
    23.65
    """
    assert 0 < share < 1
    return _root(lambda x: gamma_share(x / 2, freedom / 2), share)


def _root(rising: object, share: float) -> float:
    """Where a function that rises from 0 reaches the share, by halving."""
    assert callable(rising)
    low, high = 0.0, 1.0
    while rising(high) < share and high < 1e12:
        low, high = high, high * 2
    while high - low > 1e-12 * max(1.0, high):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < share else (low, middle)
    return (low + high) / 2


# What the pieces say


@dataclass(frozen=True, slots=True)
class Interval:
    """From one percentage to another."""

    low_pct: Decimal
    high_pct: Decimal


@dataclass(frozen=True, slots=True)
class Learned:
    """Shrinkages of one dimension of one cloth through one route, in the order in which the pieces were finished.

    mean_pct, spread_pct   mean and standard deviation, with n - 1; spread 0 for a single piece
    mean_between           where the mean lies, with 95 % confidence; None under two pieces
    next_between           where the next piece will lie, in 95 of 100 cases: a prediction interval
    most_between           where 90 % of all pieces lie, with 95 % confidence: a normal tolerance interval
    trend_pct              percentage points from one piece to the next, and whether it is more than chance
    outliers               places of pieces that lie apart, counted from 0; they are counted in, and shown
    """

    n: int
    mean_pct: Decimal
    spread_pct: Decimal
    mean_between: Interval | None
    next_between: Interval | None
    most_between: Interval | None
    trend_pct: Decimal
    is_trend: bool
    outliers: tuple[int, ...]


def learn(shrinkages_pct: Sequence[Decimal]) -> Learned:
    """Everything that measured shrinkages say.

    >>> learned = learn([Decimal(n) for n in ("5.8", "6.1", "6.4", "5.9", "6.3")])
    >>> learned.mean_pct, learned.spread_pct, learned.next_between
    (Decimal('6.10'), Decimal('0.25'), Interval(low_pct=Decimal('5.32'), high_pct=Decimal('6.88')))

    Raises Refusal for no piece at all.
    """
    if not shrinkages_pct:
        raise Refusal(N_("No piece has been measured grey and finished yet. Measure some, then ask again."))
    values = [float(pct) for pct in shrinkages_pct]
    n = len(values)
    mean, spread = mean_and_spread(values)
    slope, is_trend = trend(values)
    mean_between = next_between = most_between = None
    if n >= 2:
        t = t_quantile(0.5 + CONFIDENCE / 2, n - 1)
        mean_between = _interval(mean, t * spread / sqrt(n))
        next_between = _interval(mean, t * spread * sqrt(1 + 1 / n))
        most_between = _interval(mean, two_sided_factor(n, share=0.90, confidence=CONFIDENCE) * spread)
    return Learned(
        n=n,
        mean_pct=_near(mean),
        spread_pct=_near(spread),
        mean_between=mean_between,
        next_between=next_between,
        most_between=most_between,
        trend_pct=_near(slope, "0.001"),
        is_trend=is_trend,
        outliers=outliers(values),
    )


def mean_and_spread(values: Sequence[float]) -> tuple[float, float]:
    """Mean, and standard deviation with n - 1; 0 for a single value.

    >>> mean_and_spread([2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0])[0]
    5.0
    """
    mean = fsum(values) / len(values)
    if len(values) == 1:
        return mean, 0.0
    return mean, sqrt(fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def outliers(values: Sequence[float]) -> tuple[int, ...]:
    """Places of the values whose modified z-score is over 3.5; none of fewer than three.

    >>> outliers([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    (7,)

    Source: Iglewicz and Hoaglin (1993), recommended in the NIST/SEMATECH e-Handbook, 1.3.5.17; the eight are the mass
    spectrometer's of its worked example (from memory). Where half the values are equal the mean deviation stands in.
    """
    if len(values) < 3:
        return ()
    middle = median(values)
    off = [abs(value - middle) for value in values]
    scale = median(off) / 0.6745 or 1.253314 * fsum(off) / len(off)
    return tuple(n for n, one in enumerate(off) if scale and one / scale > OUTLIER_Z)


def trend(values: Sequence[float]) -> tuple[float, bool]:
    """The slope from one value to the next by least squares, and whether 95 of 100 chance series would have less.

    >>> trend([1.0, 2.0, 3.0, 4.0])
    (1.0, True)
    """
    n = len(values)
    if n < 3:
        return 0.0, False
    mean, middle = fsum(values) / n, (n - 1) / 2
    across = n * (n * n - 1) / 12
    slope = fsum((at - middle) * (value - mean) for at, value in enumerate(values)) / across
    rest = fsum((value - mean - slope * (at - middle)) ** 2 for at, value in enumerate(values))
    error = sqrt(rest / (n - 2) / across)
    t = abs(slope) / error if error > 1e-12 else (inf if abs(slope) > 1e-9 else 0.0)
    return slope, t > t_quantile(0.5 + CONFIDENCE / 2, n - 2)


def two_sided_factor(n: int, *, share: float, confidence: float) -> float:
    """How many spreads on either side of the mean hold this share of all pieces, with this confidence.

    >>> round(two_sided_factor(43, share=0.90, confidence=0.99), 3)
    2.217

    Source: Howe's approximation in the NIST/SEMATECH e-Handbook, 7.2.6.3, whose 43 wafers give 2.217.
    """
    freedom = n - 1
    z = NormalDist().inv_cdf((1 + share) / 2)
    return z * sqrt(freedom * (1 + 1 / n) / chi2_quantile(1 - confidence, freedom))


# Against the specification


@dataclass(frozen=True, slots=True)
class Evidence:
    """Measured against specified. `is_beyond`: by more than chance; `is_against`: and by half a point or more."""

    learned: Learned
    specified_pct: Decimal
    off_pct: Decimal
    is_beyond: bool
    is_against: bool

    @property
    def said(self) -> str:
        learned, between = self.learned, self.learned.mean_between
        if learned.n < PIECES_LEAST:
            few = N_("%(n)s measured, %(least)s are needed before the book advises anything.")
            return in_words(few, n=learned.n, least=PIECES_LEAST)
        if between is None or not self.is_beyond:
            may_be = N_("The %(pct)s %% of the specification lie where the pieces' mean may lie: leave it.")
            return in_words(may_be, pct=self.specified_pct)
        if not self.is_against:
            little = N_("The mean is %(off)s points off the specification: too little to be worth a revision.")
            return in_words(little, off=abs(self.off_pct))
        return in_words(
            N_(
                "%(n)s pieces shrank %(mean)s %% on average, %(low)s to %(high)s %% with 95 %% confidence;"
                " the specification says %(pct)s %%."
            ),
            n=learned.n,
            mean=learned.mean_pct,
            low=between.low_pct,
            high=between.high_pct,
            pct=self.specified_pct,
        )


def against(learned: Learned, *, specified_pct: Decimal) -> Evidence:
    """Whether the pieces speak against the specification.

    >>> learned = learn([Decimal(n) for n in ("7.8", "8.1", "8.4", "7.9", "8.3")])
    >>> against(learned, specified_pct=Decimal(6)).is_against
    True
    >>> against(learned, specified_pct=Decimal(8)).is_against
    False
    """
    off_pct = learned.mean_pct - specified_pct
    between = learned.mean_between
    is_beyond = between is not None and not between.low_pct <= specified_pct <= between.high_pct
    is_against = learned.n >= PIECES_LEAST and is_beyond and abs(off_pct) >= WORTH_PCT
    return Evidence(learned, specified_pct, off_pct, is_beyond, is_against)


# How much more to weave


@dataclass(frozen=True, slots=True)
class Advice:
    """Grey metres of each piece so that the pieces together reach what is ordered with the chosen chance.

    most_pct    the shrinkage that the mean of the pieces will not exceed with that chance
    of          the numbers of the sum
    """

    chance_pct: Decimal
    most_pct: Decimal
    grey_length_m: Decimal
    mean_length_m: Decimal
    more_m: Decimal
    of: dict[str, Decimal | int]

    @property
    def sum(self) -> str:
        """The sum with its numbers in it."""
        return in_words(
            N_(
                "%(mean)s %% + %(t)s × %(spread)s %% × √(1/%(pieces)s + 1/%(n)s) = %(most)s %%;"
                " %(length)s m ÷ (1 − %(most)s %%) = %(grey)s m"
            ),
            **self.of,
            most=self.most_pct,
            grey=self.grey_length_m,
        )


def weave_for(
    shrinkages_pct: Sequence[Decimal], *, length_m: Decimal, pieces: int, chance_pct: Decimal
) -> Advice | None:
    """How long to weave; None under five pieces, which are too few to advise on.

    length_m     finished, each piece; above 0
    pieces       of the order, taken together; 1 or more
    chance_pct   of reaching it, 50 to 99.9

    >>> few = [Decimal(n) for n in ("5.8", "6.1", "6.4", "5.9", "6.3")]
    >>> weave_for(few, length_m=Decimal(60), pieces=1, chance_pct=Decimal(95)).grey_length_m
    Decimal('64.31')

    The mean shrinkage of m pieces to come lies under x + t s sqrt(1/m + 1/n) with the chosen chance: the prediction
    interval for a mean, one-sided; t Student's of n - 1 degrees. Source: NIST/SEMATECH e-Handbook 7.2.6 names it and
    textbooks print it; rounded up to the centimetre, as a rounder length would have a better chance than was asked for.
    """
    if length_m <= 0 or pieces < 1:
        raise Refusal(
            N_("%(pieces)s pieces of %(length)s m can't be woven for: write more than 0."),
            pieces=pieces,
            length=length_m,
        )
    if not 50 <= chance_pct < 100:
        raise Refusal(
            N_("A chance of %(pct)s %% can't be asked for: choose 50 to 99.9 %%."), field="chance_pct", pct=chance_pct
        )
    n = len(shrinkages_pct)
    if n < PIECES_LEAST:
        return None
    mean, spread = mean_and_spread([float(pct) for pct in shrinkages_pct])
    t = t_quantile(float(chance_pct) / 100, n - 1)
    most = mean + t * spread * sqrt(1 / pieces + 1 / n)
    if most >= 100:
        raise Refusal(
            N_("With %(n)s pieces as they are no length is safe at %(pct)s %%. Measure more, or ask for less."),
            n=n,
            pct=chance_pct,
        )
    most_pct = Decimal(str(round(most, 6))).quantize(Decimal("0.01"), ROUND_CEILING)
    grey_m = (length_m / (1 - most_pct / 100)).quantize(Decimal("0.01"), ROUND_CEILING)
    mean_pct = _near(mean)
    mean_m = (length_m / (1 - mean_pct / 100)).quantize(Decimal("0.01"), ROUND_CEILING)
    return Advice(
        chance_pct=chance_pct,
        most_pct=most_pct,
        grey_length_m=grey_m,
        mean_length_m=mean_m,
        more_m=grey_m - mean_m,
        of={
            # To more places than they are shown with elsewhere, so that the sum gives the hundredth.
            "mean": _plain(_near(mean, "0.0001")),
            "t": _plain(_near(t, "0.0001")),
            "spread": _plain(_near(spread, "0.0001")),
            "pieces": pieces,
            "n": n,
            "length": _plain(length_m),
        },
    )


# The route of a revision


def scaled_route(steps_pct: Sequence[Decimal], *, to_pct: Decimal) -> tuple[Decimal, ...]:
    """The steps' shrinkages so that the whole route takes `to_pct`, each in proportion to what it took before.

    >>> scaled_route([Decimal(0), Decimal(6), Decimal(0)], to_pct=Decimal(8))
    (Decimal('0.00'), Decimal('8.00'), Decimal('0.00'))

    In the logarithm of what each step leaves, so that they compound to the whole. A route that took nothing puts all
    of it on its first step. The last step that shrinks takes what rounding leaves.
    """
    assert steps_pct
    assert to_pct < 100
    if all(pct <= 0 for pct in steps_pct):
        rest = Decimal(1)
        for pct in steps_pct[1:]:
            rest *= 1 - pct / 100
        return (_near_decimal(100 - (100 - to_pct) / rest), *steps_pct[1:])
    kept_log = [log(1 - float(pct) / 100) for pct in steps_pct]
    stretched = fsum(value for pct, value in zip(steps_pct, kept_log, strict=True) if pct <= 0)
    shrunk = fsum(value for pct, value in zip(steps_pct, kept_log, strict=True) if pct > 0)
    factor = (log(1 - float(to_pct) / 100) - stretched) / shrunk
    found = [
        _near(100 * (1 - exp(value * factor))) if pct > 0 else pct
        for pct, value in zip(steps_pct, kept_log, strict=True)
    ]
    last = max(n for n, pct in enumerate(steps_pct) if pct > 0)
    others = Decimal(1)
    for n, pct in enumerate(found):
        if n != last:
            others *= 1 - pct / 100
    found[last] = _near_decimal(100 - (100 - to_pct) / others)
    return tuple(pct.quantize(Decimal("0.01")) for pct in found)


def _interval(mean: float, half: float) -> Interval:
    return Interval(_near(mean - half), _near(mean + half))


def _near(value: float, step: str = "0.01") -> Decimal:
    return Decimal(repr(value)).quantize(Decimal(step), ROUND_HALF_UP)


def _plain(value: Decimal) -> Decimal:
    """Without idle noughts."""
    return Decimal(f"{value.normalize():f}")


def _near_decimal(value: Decimal) -> Decimal:
    return value.quantize(Decimal("0.01"), ROUND_HALF_UP)
