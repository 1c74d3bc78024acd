"""The trade's words as the book uses them. Knows no page.

Common practice, no source, where none is named.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """A word of the trade, what it means here, and the unit in which the book writes it."""

    word: str
    means: str
    unit: str = ""

    @property
    def anchor(self) -> str:
        return self.word.lower().replace(" ", "-").replace("(", "").replace(")", "")


WORDS: tuple[Word, ...] = tuple(
    sorted(
        (
            Word("Beam", "The roller on which a warp is wound and from which the loom weaves it."),
            Word("Bobbin, cone", "A package of yarn; the creel holds one for each end of a section."),
            Word("Cloth", "What the mill weaves and sells: a specification with its revisions and colourways."),
            Word("Colourway", "A cloth in a choice of colours: the same specification, other yarns."),
            Word("Contraction", "By how much grey cloth is narrower than the warp lay in the reed.", "% of reed width"),
            Word("Count", "How fine a yarn is: its mass by length. A higher tex is a thicker yarn.", "tex"),
            Word("Cover", "How much of the cloth’s face the yarns of one direction would hide, laid side by side."),
            Word("Creel", "The frame from which the warper winds, a package for each end of a section."),
            Word("Crimp", "By how much the yarn is longer than the cloth that it lies in.", "% of cloth length"),
            Word("Crop", "To shear the raised face even."),
            Word("Dent", "A gap of the reed; one, two or more ends go through each."),
            Word("Draft (threading)", "Which end goes through a heald of which shaft."),
            Word("Draw-down", "What leaves a stock of yarn, day by day, as planned work takes it.", "kg"),
            Word("Draw-in", "To thread a new warp through healds and reed by hand."),
            Word("Dye lot", "What was dyed together. Two of one colour must never meet in one warp."),
            Word("End", "A thread of the warp."),
            Word("Fulling, milling", "To felt woollen cloth in wet heat and motion: it shrinks in width and length."),
            Word("Gait up", "To fit a loom with another reed, healds and warp."),
            Word("Grey", "Of cloth: as it comes off the loom, before finishing."),
            Word("Heald", "The wire with an eye through which an end goes; healds hang on shafts."),
            Word("Lifting", "Which shafts rise at which pick."),
            Word("Lot", "Yarn of one dye lot that came together and lies together."),
            Word("Mend", "To sew in by hand what broke or failed in weaving."),
            Word("Order line", "So many pieces of a cloth in a colourway, of a length, for a day."),
            Word("Perch", "To draw cloth over a rail against the light and look for faults."),
            Word("Pick", "A thread of the weft, laid in once."),
            Word("Piece", "A length of cloth with a number, from the loom to the customer."),
            Word("Points", "What faults of a piece come to in four-point grading, on 100 square yards."),
            Word("Raise", "To draw fibres up from the face of the cloth with teasels or wire."),
            Word("Reed", "The comb that spaces the ends and beats the weft up.", "dents per 10 cm"),
            Word("Regain", "The water in yarn, on its oven-dry mass; trade is at an agreed regain.", "%"),
            Word("Revision", "A cloth’s specification as it stood from one day on; what is on the loom keeps its own."),
            Word("Scour", "To wash grey cloth free of oil and size."),
            Word("Second", "A piece that is sold as less than first quality."),
            Word("Section", "The part of a warp’s ends that the creel can wind at once."),
            Word("Selvedge", "The edge of the cloth, woven so that it does not fray."),
            Word("Sett", "How close the threads lie.", "per cm"),
            Word("Shaft", "The frame of healds that rises and falls as one."),
            Word(
                "Shrinkage",
                "By how much a step of the finishing makes cloth shorter or narrower.",
                "% of the size before",
            ),
            Word("Size", "What is put on a warp so that it stands the loom, and scoured out again."),
            Word("Store", "Where yarn lies: dark, dry, and looked over for moth."),
            Word("Tenter", "To dry cloth stretched to its width."),
            Word("Thrums", "The end of a warp that can’t be woven.", "m"),
            Word("Tie-in", "To knot a new warp, end by end, to the one that runs out."),
            Word("Tolerance", "By how much more or less than ordered the customer takes.", "%"),
            Word("Warp", "The threads that lie along the cloth; also all of them together, wound on one beam."),
            Word("Weft", "The threads that lie across the cloth."),
        ),
        key=lambda one: one.word.lower(),
    )
)
