"""The trade's words as the book uses them, and where they stand in a text. Knows no page.

Common practice, no source, where none is named.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib import import_module


@dataclass(frozen=True)
class Word:
    """A word of the trade, what it means here, and the unit in which the book writes it.

    also        other forms of it that pages use; the word itself, and with an s, are looked for as well
    unless      what follows it where it means something else, as a pattern
    source      where the meaning is in print
    is_common   an everyday word too: on pages, only what `also` says is meant
    of          the anchor of the English word that one of another language stands for, whose `also` has every form
    """

    word: str
    means: str
    unit: str = ""
    also: tuple[str, ...] = ()
    unless: str = ""
    source: str = ""
    is_common: bool = False
    of: str = ""

    @property
    def anchor(self) -> str:
        """Where it stands in the glossary, in every language."""
        return self.of or re.sub(r"[^a-z0-9]+", "-", self.word.lower()).strip("-")

    @property
    def forms(self) -> tuple[str, ...]:
        """How it stands on pages, in small letters."""
        if self.is_common:
            return self.also
        own = [part.strip() for part in re.sub(r"\(.*?\)", "", self.word).lower().split(",")]
        return (*own, *(() if self.of else (f"{one}s" for one in own)), *self.also)

    @property
    def within(self) -> str:
        """As it stands within a sentence."""
        return self.word if self.of else self.word.lower()


def in_order(words: Iterable[Word]) -> tuple[Word, ...]:
    """By their letters, ä as a."""
    return tuple(sorted(words, key=lambda one: one.word.lower().translate(str.maketrans("äöüß", "aous"))))


WORDS: tuple[Word, ...] = in_order(
    (
        Word("Batch", "Pieces that go through a step of the finishing together.", also=("batches",)),
        Word("Beam", "The roller on which a warp is wound and from which the loom weaves it."),
        Word("Bobbin, cone", "A package of yarn; the creel holds one for each end of a section.", also=("packages",)),
        Word("Burl", "To pick knots, burrs and straws out of grey cloth before it is scoured.", also=("burling",)),
        Word("Claim", "What is asked of a supplier whose yarn came short of the mass that was invoiced."),
        Word("Cloth", "What the mill weaves and sells: a specification with its revisions and colourways."),
        Word("Colourway", "A cloth in a choice of colours: the same specification, other yarns."),
        Word(
            "Condition",
            "Of yarn: how damp it is. In air it takes up or gives off water until the two are in balance.",
            is_common=True,
        ),
        Word("Contraction", "By how much grey cloth is narrower than the warp lay in the reed.", "% of reed width"),
        Word("Cost", "What a piece takes of yarn, hours, set-up and finishing, at the mill’s own rates."),
        Word(
            "Count",
            "How fine a yarn is: its mass by length. A higher tex is a thicker yarn.",
            "tex",
            unless=r"(?: it| sheet|ed)",
            source="ISO 1139",
        ),
        Word(
            "Count systems",
            "Direct ones give mass by length (tex, denier), indirect ones length by mass (metric Nm,"
            " woollen and worsted counts): there a higher number is a finer yarn.",
            also=("as bought",),
            source="ASTM D2260",
        ),
        Word("Cover", "How much of the cloth’s face the yarns of one direction would hide, laid side by side."),
        Word("Creel", "The frame from which the warper winds, a package for each end of a section."),
        Word(
            "Crimp",
            "By how much the yarn is longer than the cloth that it lies in.",
            "% of cloth length",
            source="ISO 7211-3",
        ),
        Word("Crop, shear", "To cut the raised face even.", also=("cropping", "shearing", "cropped")),
        Word("Cut", "A length of cloth taken off the loom; in some mills another word for piece.", is_common=True),
        Word("Cut mark", "A mark woven in or put on the warp where one piece ends and the next begins."),
        Word(
            "Denier",
            "A count: grams in 9 000 metres. One ninth of it is the tex.",
            source="ASTM D2260",
        ),
        Word("Dent", "A gap of the reed; one, two or more ends go through each."),
        Word("Draft (threading)", "Which end goes through a heald of which shaft.", also=("threading",)),
        Word("Draw-down", "What leaves a stock of yarn, day by day, as planned work takes it.", "kg"),
        Word("Draw-in", "To thread a new warp through healds and reed by hand.", also=("drawing-in", "drawn in")),
        Word(
            "Dye lot",
            "What was dyed together. Two of one colour must never meet in one warp.",
            also=("dyelot", "dyelots"),
        ),
        Word("End", "A thread of the warp."),
        Word("Fell", "The edge of the cloth in the loom, where the last pick was beaten up.", is_common=True),
        Word("Finished", "Of cloth: as the customer gets it."),
        Word("Finishing", "What makes grey cloth finished: mending, then the steps of its route, wet and dry."),
        Word(
            "Fulling, milling",
            "To felt woollen cloth in wet heat and motion: it shrinks in width and length.",
            also=("fulled", "milled"),
        ),
        Word("Gait up", "To fit a loom with another reed, healds and warp.", also=("gaiting", "gaited", "gait-up")),
        Word("Grey", "Of cloth: as it comes off the loom, before finishing.", also=("loom-state", "loom state")),
        Word("Header", "What is woven between two pieces and cut away: nobody’s cloth.", "m"),
        Word("Heald", "The wire with an eye through which an end goes; healds hang on shafts."),
        Word(
            "Hold",
            "Yarn of a lot set aside for a warp, a treatment or a reason, and not yet drawn.",
            "kg",
            also=("held", "holds", "to hold", "hold for"),
            is_common=True,
        ),
        Word("Lifting", "Which shafts rise at which pick.", also=("lifting plan",)),
        Word("List", "An old word for selvedge, and for the waste strip cut from it.", is_common=True),
        Word("Loom", "What weaves: it lifts ends, lays in a pick and beats it up."),
        Word("Loom-hours", "Hours a loom runs or stands for a warp: weaving with its stops, and set-up.", "h"),
        Word("Lot", "Yarn of one dye lot that came together and lies together."),
        Word("Mend", "To sew in by hand what broke or failed in weaving.", also=("mending", "mended", "menders")),
        Word("On hand", "What lies in the store by the ledger; less what is held, it is free.", "kg"),
        Word("Order line", "So many pieces of a cloth in a colourway, of a length, for a day."),
        Word(
            "Outlook",
            "What a yarn’s stock comes to in the weeks ahead: on hand, what is to come, what planned work draws.",
            "kg",
        ),
        Word("Overtaken", "Of a ticket: its figures have been made untrue by a later change.", is_common=True),
        Word("Perch", "To draw cloth over a rail against the light and look for faults.", also=("perching",)),
        Word("Pick", "A thread of the weft, laid in once."),
        Word("Piece", "A length of cloth with a number, from the loom to the customer."),
        Word("Plan in force", "The plan that the floor works by; any other is an offer.", also=("in force",)),
        Word("Ply", "Two or more yarns twisted together; also one of them.", also=("plies", "folded")),
        Word(
            "Points",
            "What faults of a piece come to in four-point grading, on 100 square yards.",
            unless=r" a piece",
            source="ASTM D5430",
        ),
        Word("Price", "What is asked for a piece: its cost with a margin that is a share of the price."),
        Word(
            "Promise",
            "The earliest day that can be told a customer: yarn, looms and finishing thought of.",
            also=("promised",),
        ),
        Word("Proposal", "Order lines that could share a warp, with what that saves.", also=("proposed",)),
        Word("Quarantine", "Yarn kept apart and not drawn, until somebody has looked at it and let it go."),
        Word("Quote", "Cost, price and promise of so many pieces, told to a customer and kept as told."),
        Word("Raise", "To draw fibres up from the face of the cloth with teasels or wire.", also=("raising",)),
        Word("Reed", "The comb that spaces the ends and beats the weft up.", "dents per 10 cm"),
        Word("Reed space", "The widest that a loom can hold a warp in its reed.", "cm", also=("width in reed",)),
        Word(
            "Regain",
            "The water in yarn, on its oven-dry mass; trade is at an agreed regain.",
            "%",
            source="EU 1007/2011, ASTM D1909",
        ),
        Word("Repeat", "The ends or picks after which draft, lifting or colours begin again."),
        Word("Revision", "A cloth’s specification as it stood from one day on; what is on the loom keeps its own."),
        Word(
            "Running efficiency",
            "The share of its hours on a warp in which the loom really weaves.",
            "%",
        ),
        Word("Scour", "To wash grey cloth free of oil and size.", also=("scouring",)),
        Word("Second", "A piece that is sold as less than first quality.", unless=r" week"),
        Word(
            "Section",
            "The part of a warp’s ends that the creel can wind at once.",
            also=("section warping",),
        ),
        Word("Selvedge", "The edge of the cloth, woven so that it does not fray."),
        Word("Sett", "How close the threads lie.", "per cm", source="ISO 7211-2"),
        Word(
            "Set-up",
            "What a loom stands for between two warps: tie-in, draw-in or gait-up, and a reed where it changes.",
            "h",
        ),
        Word(
            "Shade",
            "The colour of a dye lot beside the one agreed; somebody approves it before a warp is given of it.",
        ),
        Word("Shaft", "The frame of healds that rises and falls as one."),
        Word(
            "Shrinkage",
            "By how much a step of the finishing makes cloth shorter or narrower.",
            "% of the size before",
            also=("shrank",),
        ),
        Word(
            "Size",
            "What is put on a warp so that it stands the loom, and scoured out again.",
            also=("size add-on", "waste and size"),
            is_common=True,
        ),
        Word("Sley", "To draw ends through the dents of the reed; also the frame that carries the reed."),
        Word("Square mass", "Mass of cloth by its area.", "g/m²"),
        Word("Store", "Where yarn lies: dark, dry, and looked over for moth."),
        Word("Take-up", "How far the cloth is drawn forward at each pick: it makes the picks per cm."),
        Word("Tenter", "To dry cloth stretched to its width.", also=("tentering", "stenter")),
        Word("Tex", "A count: grams in 1 000 metres.", source="ISO 1139"),
        Word("Thrums", "The end of a warp that can’t be woven.", "m", also=("thrum",)),
        Word(
            "Ticket",
            "The sheet that goes with a warp or piece on the floor. Its figures are frozen when it is issued.",
        ),
        Word("Tie-in", "To knot a new warp, end by end, to the one that runs out.", also=("tying in", "knotting")),
        Word(
            "Tie-up",
            "Which shafts each treadle or lever moves; with the order of treadles it makes the lifting.",
        ),
        Word("Tolerance", "By how much more or less than ordered the customer takes.", "%"),
        Word("Trap", "A card with glue and a lure: what it catches tells whether moth is about."),
        Word("Lure", "What draws moth to a trap; it goes stale and is renewed."),
        Word("Core", "The middle of a package of yarn, which warms and cools last in a treatment.", is_common=True),
        Word("Treatment", "Cold or heat that kills moth and its brood in yarn, held for so long at its core."),
        Word("Warp", "The threads that lie along the cloth; also all of them together, wound on one beam."),
        Word("Weave", "How warp and weft cross: draft and lifting together.", source="ISO 3572"),
        Word("Weft", "The threads that lie across the cloth."),
        Word(
            "Wind",
            "To lay the ends of a warp side by side, section by section, and put them on a beam.",
            also=("winding", "warping", "wound"),
        ),
        Word("Yarn", "Fibres spun to a thread, of a count and a colour."),
    )
)
BY_ANCHOR = {word.anchor: word for word in WORDS}


# Where the words of another language than English stand.
IN_OTHERS = {"de": "mill.words_in_german"}


@cache
def words_of(language: str) -> tuple[Word, ...]:
    """All words in a language, in its order; in English where nobody has written them."""
    return import_module(IN_OTHERS[language]).WORDS if language in IN_OTHERS else WORDS


def word_at(anchor: str, language: str = "") -> Word:
    """The word of an anchor. KeyError for one unknown."""
    return _by_anchor(language)[anchor]


@cache
def _by_anchor(language: str) -> dict[str, Word]:
    return {word.anchor: word for word in words_of(language)}


@cache
def _forms(language: str) -> dict[str, Word]:
    return {form: word for word in words_of(language) for form in word.forms}


@cache
def _pattern(language: str) -> re.Pattern[str]:
    """The longest form first, so that a dye lot is no lot."""
    words = _forms(language)
    forms = sorted(words, key=len, reverse=True)
    each = (re.escape(form) + (f"(?!{unless})" if (unless := words[form].unless) else "") for form in forms)
    return re.compile(rf"(?<![\w-])(?:{'|'.join(each)})(?![\w-])", re.IGNORECASE)


def found_in(text: str, language: str = "") -> Iterator[tuple[str, Word | None]]:
    """A text in parts, each with the word of the trade that it is; English unless a language is said.

    >>> [(part, word and word.anchor) for part, word in found_in("Dye lots of a warp")]
    [('Dye lots', 'dye-lot'), (' of a ', None), ('warp', 'warp')]
    >>> [(part, word and word.anchor) for part, word in found_in("Rohlänge der Kette", "de")]
    [('Rohlänge', 'grey'), (' der ', None), ('Kette', 'warp')]
    """
    at = 0
    for found in _pattern(language).finditer(text):
        if found.start() > at:
            yield text[at : found.start()], None
        yield found[0], _forms(language)[found[0].lower()]
        at = found.end()
    if at < len(text):
        yield text[at:], None
