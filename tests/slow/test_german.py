"""Whoever reads German meets no English on any page of the example mill but what people wrote there."""

import re
from io import StringIO

import pytest
from django.core.management import call_command

from mill import people
from mill.bench.every_page import every_page, write_the_rest
from tests.german import words_of

pytestmark = [pytest.mark.slow, pytest.mark.django_db]

# Words without which hardly an English sentence is written, and which are none in German.
ENGLISH = re.compile(
    r"\b(the|of|is|are|not|has|have|with|for|from|its|it|by|this|there|been|which|who|each)\b", re.IGNORECASE
)
# Notes and names of the example mill, and of books and places in print.
WRITTEN = (
    "The lid had not shut.",
    "Probe in the middle cone",
    "Redder than the shade card.",
    "Three probes, the firm's record",
    "The office’s sheet",
    "The office",
    "They had dried other cones of it; three quarters are settled.",
    "Two cones of each lot were dried.",
    "Opened by a dent in ten: it handled like board.",
    "Loft over the warping",
    "Cage by the hoist",
    "Shelf for shade matching",
    "Cracked batten; the part comes next week.",
    "A cutting before the piece.",
    "Looked through, cone by cone.",
    "Isle of Man",
    "M. Islam, Calculation of Weaving Loom Efficiency",
    "M. Islam, Calculation of Loom and Weaving Shed Efficiency",
    "Conference of Northern California Handweavers, note on shrinkage",
)


def test_no_page_of_the_example_mill_speaks_english_to_who_reads_german(desk, planner):
    call_command("example_mill", stdout=StringIO())
    write_the_rest(planner)
    people.speak(planner, language="de", by=planner)
    english = {}
    for addresses in every_page().values():
        for address in addresses:
            said = words_of(desk.get(address))
            if found := {words for words in said if ENGLISH.search(_without_what_people_wrote(words))}:
                english[address] = found
    assert english == {}


def _without_what_people_wrote(words: str) -> str:
    for written in WRITTEN:
        words = words.replace(written, "")
    return words
