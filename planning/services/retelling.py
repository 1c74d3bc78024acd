"""What was said of a plan when it was made, said again in the language of the page.

It is kept in English, made from the forms that stand here. What stands in a form's places is told by the place's name,
up to the first "_": a day, a moment (`at`), a length of time, warps; anything else is left as it is, but a number has
the page's decimal sign.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from functools import cache
from typing import Any

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from mill import language, signs
from mill.refusal import N_, Refusal
from mill.retold import figure_said
from planning.shed import MISFITS

# The chain behind a late warp.
ITS_YARN_COMES = N_("The %(material)s for it comes %(day)s.")
YARN_COMES = N_("The %(material)s for warp %(warp)s comes %(day)s.")
IT_IS_WOUND = N_("It is wound %(at_first)s to %(at_last)s.")
IT_IS_WOUND_BEHIND = N_("It is wound %(at_first)s to %(at_last)s, behind %(warps)s.")
WARP_IS_WOUND = N_("Warp %(warp)s is wound %(at_first)s to %(at_last)s.")
WARP_IS_WOUND_BEHIND = N_("Warp %(warp)s is wound %(at_first)s to %(at_last)s, behind %(warps)s.")
IT_WAITS_FOR_BEAM = N_("It waits %(time)s for a beam that takes it, until %(warps)s is woven out %(at)s.")
IT_WAITS_FOR_THE_BEAM = N_(
    "It waits %(time)s for a beam that takes it (%(beam)s), until %(warps)s is woven out %(at)s."
)
WARP_WAITS_FOR_BEAM = N_("Warp %(warp)s waits %(time)s for a beam that takes it, until %(warps)s is woven out %(at)s.")
WARP_WAITS_FOR_THE_BEAM = N_(
    "Warp %(warp)s waits %(time)s for a beam that takes it (%(beam)s), until %(warps)s is woven out %(at)s."
)
LOOM_IS_BUSY = N_("Loom %(loom)s is busy with %(warps)s until %(at)s.")
TUNERS_BEFORE = N_("Before that it waits %(time)s for tuners, at %(warps)s.")
TUNER_ELSEWHERE = N_("It waits %(time)s for a tuner, who is at another loom.")
TUNER_IS_AT = N_("It waits %(time)s for a tuner, who is at %(warps)s.")
TUNERS_OFF = N_("It waits %(time)s while the tuners are off shift.")
LOOM_OFF = N_("It waits %(time)s while loom %(loom)s is off shift.")
SET_UP_TAKES = N_("Its %(setup)s takes until %(at)s.")
WEAVES = N_("It weaves %(time)s of loom %(loom)s's hours, until %(at)s.")
PIECE_FINISHED = N_(
    "Line %(line)s: %(n)s piece finished %(day_ready)s, %(finishing)s finishing days after the loom; "
    "promised %(day_due)s."
)
PIECES_FINISHED = N_(
    "Line %(line)s: %(n)s pieces finished %(day_ready)s, %(finishing)s finishing days after the loom; "
    "promised %(day_due)s."
)
NOT_SOONER = N_("It could not begin sooner.")

# What each of its links is about: as it is kept, and as another language says it.
CAUSES = {
    "yarn": N_("Yarn"),
    "beam": N_("Beam"),
    "warping": N_("Warping"),
    "loom": N_("Loom"),
    "tuner": N_("Tuner"),
    "closed": N_("Off shift"),
    "set-up": N_("Set-up"),
    "weaving": N_("Weaving"),
    "finishing": N_("Finishing"),
}

# What would mend it.
MENDED = N_("%(how)s it would be off the loom %(at)s, %(when)s.")
MENDED_BUT = N_("%(how)s it would be off the loom %(at)s, %(when)s, but %(warps)s would be later than promised.")
NOTHING_MENDS = N_("Nothing that was tried brings it forward: a later date, or another weaver, is what is left.")
YARN_HERE = N_("With its yarn here and the warp wound at once")
ONE_TUNER_MORE = N_("With one tuner more")
ONE_BEAM_MORE = N_("With one beam more of each kind")
PUT_FIRST = N_("Put first on loom %(loom)s")
SATURDAYS = N_("With a Saturday shift on loom %(loom)s")
HOW = (YARN_HERE, ONE_TUNER_MORE, ONE_BEAM_MORE, PUT_FIRST, SATURDAYS)
IN_TIME, SOONER = N_("in time"), N_("%(time)s sooner")

# The weekly load.
ARE_TIGHT = N_("%(who)s are the bottleneck: %(weeks)s %(pct)s %% of the open hours are taken (%(shares)s).")
IS_TIGHT = N_("%(who)s is the bottleneck: %(weeks)s %(pct)s %% of the open hours are taken (%(shares)s).")
ARE_FULLEST = N_("No hours are short: %(weeks)s %(who)s are the fullest with %(pct)s %% taken (%(shares)s).")
IS_FULLEST = N_("No hours are short: %(weeks)s %(who)s is the fullest with %(pct)s %% taken (%(shares)s).")
THIS_WEEK, NEXT_WEEKS = N_("this week"), N_("over the next %(n)s weeks")
WAIT_LONGEST = {
    "yarn": N_("Late warps wait longest for yarn."),
    "warping": N_("Late warps wait longest for warping."),
    "beam": N_("Late warps wait longest for a beam."),
    "loom": N_("Late warps wait longest for a loom that is busy."),
    "tuner": N_("Late warps wait longest for a tuner."),
}
ORDER_MENDS_NOTHING = N_("A better order on the looms can't mend that.")
SHARERS = (N_("looms"), N_("tuners"), N_("warping"))

# Moves, and the plans beside it.
MOVED_LOOM = N_("Warp %(warp)s from loom %(was)s to loom %(now)s, weaving from %(at_now)s instead of %(at_was)s.")
MOVED_TURN = N_("Warp %(warp)s to another turn on loom %(loom)s, weaving from %(at_now)s instead of %(at_was)s.")
BY_HAND = N_("Warp %(warp)s on loom %(loom)s: %(more_late)s, %(more_setup)s.")
LATER_THEN = N_("Later than promised, or later still: %(warps)s.")
LATENESS, SET_UP = "weighted lateness", "set-up"
CHANGES_IN = {
    LATENESS: (
        N_("weighted lateness as before"),
        N_("%(time)s more weighted lateness"),
        N_("%(time)s less weighted lateness"),
    ),
    SET_UP: (N_("set-up as before"), N_("%(time)s more set-up"), N_("%(time)s less set-up")),
}
CARRIED_ON = N_("the plan in force, carried on")
PAPER_RULE = N_("earliest due date, on paper")
THAT_CARRIED_ON = N_("plan %(plan)s, carried on")

# Whether a better plan can exist, and what one takes to be so.
PROVEN = N_("Proven best: no other plan of its %(n)s warps costs less.")
TOO_SHORT = N_("Not proven best of its %(n)s warps: the time was too short to try every other.")
KEPT = N_("Not proven best of its %(n)s warps: a plan in force was to be kept.")
TO_BE_WOUND = N_(
    "Not proven best of its %(n)s warps: some are still to be wound, and one may be better off waiting for a beam."
)
TOO_MANY = N_("Not proven best: of a dozen warps or more nobody can try every plan.")
JUDGE_IT = N_("Judge it by the plans beside it.")
NO_COMPILER = N_(
    "This machine has no compiler for the search (numba), so it went a thousand times slower: "
    "this is little more than the best of the mill's paper rules."
)
ELAPSED = N_("%(n)s of %(all)s s")
STOPPED = N_("Stopped before the search was ready: the first plan.")
LOOM_STANDS = N_("loom %(loom)s to stand (%(why)s)")
YARN_IS_LATE = N_("delivery %(delivery)s of %(yarn)s to come on %(day)s")
NO_LOOM = N_("No loom takes it: %(looms)s.")
COMES_TOO_LATE = N_(
    "The %(material)s for it comes %(day)s %(year)s, more than a year from now: no plan reaches so far."
)
NO_HOURS = N_("Loom %(loom)s, which it is kept to, has no working hours in the year to come.")
ON_LOOM = N_("loom %(loom)s: %(misfit)s")
NOT_WORKED_OUT = N_("It has not been worked out yet.")
NOT_WAITING = N_("it is not one of the warps that wait.")

# What has changed since, and what is different in the plan in force: phrases.
SINCE = (
    N_("warp %(warp)s is new"),
    N_("loom %(loom)s is new"),
    N_("warp %(warp)s is gone"),
    N_("loom %(loom)s is gone"),
    N_("warp %(warp)s has changed"),
    N_("loom %(loom)s has changed"),
    N_("the beams have changed"),
    N_("the closures have changed"),
    N_("the mill's figures have changed"),
    N_("the yarn has changed"),
)
IS_NEW = N_("Warp %(warp)s is new on loom %(loom)s")
WENT = N_("Warp %(warp)s went from loom %(was)s to loom %(now)s")
STARTS = N_("Warp %(warp)s on loom %(loom)s starts %(day)s, %(hour)s")
NO_PLACE = N_("Warp %(warp)s has no place any more")
HANGS_ELSEWHERE = N_("Warp %(warp)s hangs in loom %(hangs)s, not %(loom)s")
FITS_NOT = N_("Warp %(warp)s: %(misfit)s")

# Of two that fit the first is taken.
FORMS = (
    *(ITS_YARN_COMES, YARN_COMES, IT_IS_WOUND_BEHIND, IT_IS_WOUND, WARP_IS_WOUND_BEHIND, WARP_IS_WOUND),
    *(IT_WAITS_FOR_THE_BEAM, IT_WAITS_FOR_BEAM, WARP_WAITS_FOR_THE_BEAM, WARP_WAITS_FOR_BEAM, LOOM_IS_BUSY),
    *(TUNERS_BEFORE, TUNER_ELSEWHERE, TUNER_IS_AT, TUNERS_OFF, LOOM_OFF, SET_UP_TAKES, WEAVES),
    *(PIECE_FINISHED, PIECES_FINISHED, NOT_SOONER, MENDED_BUT, MENDED, NOTHING_MENDS),
    *(ARE_TIGHT, IS_TIGHT, ARE_FULLEST, IS_FULLEST, *WAIT_LONGEST.values(), ORDER_MENDS_NOTHING),
    *(MOVED_LOOM, MOVED_TURN, BY_HAND, LATER_THEN, CARRIED_ON, PAPER_RULE, THAT_CARRIED_ON),
    *(PROVEN, TOO_SHORT, KEPT, TO_BE_WOUND, TOO_MANY, JUDGE_IT, NO_COMPILER, STOPPED, ELAPSED),
    *(LOOM_STANDS, YARN_IS_LATE, NO_LOOM, NO_HOURS, COMES_TOO_LATE, NOT_WORKED_OUT, NOT_WAITING),
    *(*SINCE, IS_NEW, WENT, STARTS, NO_PLACE, HANGS_ELSEWHERE, FITS_NOT),
)

DAY = r"[A-Z][a-z]{2} \d{1,2} [A-Z][a-z]{2}"
TIME = r"\d+ days(?: \d+ h)?|\d+ h|\d+ min"
NUMBERS = r"\d+(?:, \d+)*(?: and \d+(?: more)?)?"


def _day(kept: str) -> str:
    weekday, day, month = kept.split()
    now = signs.written_now()
    named = now.weekdays[signs.ENGLISH.weekdays.index(weekday)], now.months[signs.ENGLISH.months.index(month)]
    return now.day.format(weekday=named[0], day=int(day), month=named[1])


def _at(kept: str) -> str:
    day, _space, hour = kept.rpartition(" ")
    return f"{_day(day)} {hour}"


def _date(kept: str) -> str:
    day, month, hour = kept.split()
    now = signs.written_now()
    named = now.months[signs.ENGLISH.months.index(month)]
    return f"{now.day.format(weekday='', day=int(day), month=named).lstrip(' ,')} {hour}"


def _whole_day(kept: str) -> str:
    on = datetime.strptime(kept, "%d %B %Y")  # noqa: DTZ007 - a day, of no time zone
    now = signs.written_now()
    return f"{now.day.format(weekday='', day=on.day, month=now.months[on.month - 1]).lstrip(' ,')} {on.year}"


def _time(kept: str) -> str:
    days, is_days, rest = kept.partition(" days")
    return (_("%(n)s days") % {"n": days}) + rest if is_days else kept


def _warps(kept: str) -> str:
    if kept == "another loom":
        return _("another loom")
    several, _space, numbers = kept.partition(" ")
    form = _("warps %(numbers)s") if several == "warps" else _("warp %(numbers)s")
    return form % {"numbers": joined(re.findall(r"\d+(?! more)", numbers), more=_more(numbers))}


def _more(kept: str) -> int:
    found = re.search(r" and (\d+) more$", kept)
    return int(found[1]) if found else 0


def _material(kept: str) -> str:
    use, _yarn, code = kept.split(" ", 2)
    return (_("warp yarn %(code)s") if use == "warp" else _("weft yarn %(code)s")) % {"code": code}


def _shares(kept: str) -> str:
    shares = (one.split(" ", 1) for one in kept.split(", "))
    return ", ".join(f"{_(name)} {share}" for name, share in shares)


def _who(kept: str) -> str:
    return _(kept.lower())


def _looms(kept: str) -> str:
    return "; ".join(retold(one, (ON_LOOM,)) for one in re.split(r"; (?=loom )", kept))


# By the name of a place: what may stand there, and how it is said again.
PLACES: Mapping[str, tuple[str, Callable[[str], str]]] = {
    "day": (DAY, _day),
    "at": (rf"{DAY} \d\d:\d\d", _at),
    "date": (r"\d\d [A-Z][a-z]{2} \d\d:\d\d", _date),
    "whole": (r"\d\d [A-Z][a-z]+ \d{4}", _whole_day),
    "time": (TIME, _time),
    "warps": (rf"warps? {NUMBERS}|another loom", _warps),
    "warp": (r"\d+", str),
    "setup": (r"weft change|tie-in|draw-in|gait-up", _),
    "material": (r"(?:warp|weft) yarn .+", _material),
    "how": (r".+?", lambda kept: retold(kept, HOW)),
    "when": (rf"in time|(?:{TIME}) sooner", lambda kept: retold(kept, (IN_TIME, SOONER))),
    "weeks": (r"this week|over the next \d+ weeks", lambda kept: retold(kept, (THIS_WEEK, NEXT_WEEKS))),
    "who": (r"[Ll]ooms|[Tt]uners|[Ww]arping", _who),
    "shares": (r"[^()]+", _shares),
    "more": (r"[^.]+?", lambda kept: retold(kept, [form for forms in CHANGES_IN.values() for form in forms])),
    "looms": (r".+", _looms),
    "misfit": (r".+", lambda kept: retold(kept, MISFITS)),
}


def _kind(name: str) -> tuple[str, Callable[[str], str]]:
    return PLACES.get(name.partition("_")[0], (r".+?", figure_said))


@cache
def _pattern(form: str) -> re.Pattern[str]:
    parts = re.split(r"%\((\w+)\)s", form.replace("%%", "%"))
    # Texts and names by turns.
    made = (f"(?P<{part}>{_kind(part)[0]})" if n % 2 else re.escape(part) for n, part in enumerate(parts))
    return re.compile("".join(made), re.DOTALL)


def retold(kept: str, forms: Iterable[str] = FORMS) -> str:
    """A sentence of a plan, or several of them, in the language of the page; one of another form stays as it is.

    >>> retold("It waits 3 h for a tuner, who is at warp 7.")
    'It waits 3 h for a tuner, who is at warp 7.'
    """
    several = [(part, _one_retold(part, forms)) for part in re.split(r"(?<=\.) (?=[A-Z])", kept)]
    if not all(said for _part, said in several) and (whole := _one_retold(kept, forms)) is not None:
        return whole
    return " ".join(said or part for part, said in several)


def retold_place(kept: str) -> str:
    """A length of time as it is kept, in the language of the page; anything else as it is."""
    return _time(kept) if re.fullmatch(TIME, kept) else kept


def _one_retold(kept: str, forms: Iterable[str]) -> str | None:
    for form in forms:
        if found := _pattern(form).fullmatch(kept):
            places = {name: _kind(name)[1](text) for name, text in found.groupdict().items()}
            return _(form) % places
    return None


def fitting(looms: Iterable[tuple[Any, str | None]]) -> list[tuple[Any, str | None]]:
    """Looms, each with why a warp can't go on it, in the language of the page; None where it can."""
    return [(loom, misfit and retold(misfit, MISFITS)) for loom, misfit in looms]


def joined(words: Sequence[str], *, more: int = 0) -> str:
    """a, b und c; a, b, c und 4 weitere: as `listed` has it in English."""
    if more:
        return _("%(words)s and %(n)s more") % {"words": ", ".join(words), "n": more}
    if len(words) < 2:
        return "".join(words)
    return _("%(words)s and %(last)s") % {"words": ", ".join(words[:-1]), "last": words[-1]}


class Kept:
    """English words among a refusal's values that are said again in the language of whoever reads it.

    place    what they are, by the name of a form's place; "" for a sentence or a phrase
    """

    def __init__(self, words: str, place: str = "") -> None:
        self.words, self.place = words, place

    def __str__(self) -> str:
        return self.words

    @property
    def called(self) -> str:
        return PLACES[self.place][1](self.words) if self.place else retold(self.words)


class Listed:
    """Several words, or records, as one of a refusal's values."""

    def __init__(self, words: Sequence[Any], *, most: int = 3) -> None:
        self.words, self.most = words, most

    def __str__(self) -> str:
        return listed([str(word) for word in self.words], most=self.most)

    @property
    def called(self) -> str:
        return said_list([str(getattr(word, "called", word)) for word in self.words], most=self.most)


class Sentence:
    """One sentence of a refusal that has several."""

    def __init__(self, form: str, **said: Any) -> None:
        self._words = Refusal(form, **said)

    def __str__(self) -> str:
        return str(self._words)

    @property
    def called(self) -> str:
        return self._words.message


def listed(words: Sequence[str], *, most: int = 3) -> str:
    """a, b and c; a, b, c and 4 more: in English, as it is kept."""
    if len(words) > most:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def said_list(words: Sequence[str], *, most: int = 3) -> str:
    """The same in the language of the page."""
    return joined(words[:most], more=max(len(words) - most, 0))


def explained_again(explained: Mapping[str, Any]) -> dict[str, Any]:
    """All that is kept with a plan, its sentences in the language of the page."""
    again = dict(explained)
    if (get_language() or language.ENGLISH) == language.ENGLISH:
        return again
    for name in ("said", "proof"):
        if again.get(name):
            again[name] = retold(again[name])
    for name in ("bottleneck", "assumes"):
        if again.get(name):
            again[name] = again[name] | {"said": retold(again[name]["said"])}
    again["late"] = [
        row
        | {
            "chain": [link | {"kind": _(CAUSES[link["kind"]]), "said": retold(link["said"])} for link in row["chain"]],
            "mend": [retold(one) for one in row.get("mend", [])],
        }
        for row in again.get("late", [])
    ]
    if "moves" in again:
        again["moves"] = [move | {"said": retold(move["said"])} for move in again["moves"]]
    return again
