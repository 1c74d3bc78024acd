"""The reckoner in German: every sum as it stands when it is opened, and what is asked, answered and refused in it."""

from html import unescape

import pytest

from mill import people
from planning.reckoner import REGISTRY
from tests.german import forgotten

# Books and standards are cited as they are printed, and signs of units are nobody's language.
CITED = r"ISO 1144|ASTM .*|J\. T\. Taylor.*|W\. Davis.*|M\. Islam.*|Conference of .*|EU 1007.*|C\. P\. Brooks.*"
SIGNS = r"tex|m/min|min|[\d ×÷√().m]*(tex|min)\b[ ×÷\d]*|.* h .* min|yd/lb"


@pytest.mark.slow
def test_every_sum_is_german_as_it_is_opened(desk, planner):
    pages = ["/reckoner/", *(f"/reckoner/{name}/" for name in REGISTRY)]
    assert not forgotten(desk, planner, pages, own=f"{CITED}|{SIGNS}")


def test_what_is_typed_with_a_comma_is_reckoned_answered_and_refused_with_one(desk, planner):
    """7.5 % of the yarn's length are 7.5 ÷ 92.5 = 8.108 % of the cloth's, worked by hand."""
    people.speak(planner, language="de", by=planner)
    page = unescape(desk.get("/reckoner/take-up/", {"take_up_pct": "7,5"}).content.decode())
    assert "7,5 % ÷ (1 − 7,5 %)" in page
    assert "<output>8,11 %" in page
    page = unescape(desk.get("/reckoner/crimp/", {"yarn_cm": "19,5", "cloth_cm": "20"}).content.decode())
    assert "19,5 cm Faden aus 20 cm Stoff: Ein gestreckter Faden ist nie kürzer." in page
    page = unescape(desk.get("/reckoner/grade/", {"faults": "3,2 m: 240 mm; 41 m: 50 mm Loch"}).content.decode())
    assert "8 Punkte sind 8,89 auf 100 m²; die Grenze ist 47,84: Es ist erste Wahl." in page
    sett = unescape(desk.get("/reckoner/sett/", {"ends_per_cm": "30", "picks_per_cm": "9"}).content.decode())
    assert "30 Fäden/cm sind 219 % der 13,7, die diese Bindung fasst" in sett
