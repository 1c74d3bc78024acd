"""The pictures of the how-to's in each language: of which step, how large, of which words.

`tests/browser/pictures.py` takes them.
"""

import hashlib
import json
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

from django.utils.translation import gettext as _

from mill.how_to import Step, Task

FOLDER = Path(__file__).parent / "static" / "mill" / "how-to"
LIST = "pictures.json"


@dataclass(frozen=True)
class Picture:
    """A picture of a step, in pixels. `words` is the digest of the step as it was said when the picture was taken."""

    language: str
    name: str
    width: int
    height: int
    words: str

    @property
    def address(self) -> str:
        """Under the static files."""
        return f"mill/how-to/{self.language}/{self.name}.webp"


def name_of(task: Task, n: int) -> str:
    return f"{task.slug}-{n}"


def words_of(step: Step) -> str:
    """A digest of all that a step says, writes, ticks and presses."""
    return hashlib.sha256(json.dumps(asdict(step)).encode()).hexdigest()[:16]


def has_picture(n: int) -> bool:
    """The first step opens a room in the bar: nobody needs a picture of that."""
    return n > 1


def alt_of(step: Step) -> str:
    """What the picture shows, for who doesn't see it, in its own words: the step itself stands above it.

    >>> alt_of(Step("", write=(("Yarn", "x"), ("Net mass", "50 kg")), press="Receive it"))
    'The page with “Yarn” and “Net mass” filled in, and “Receive it” to be pressed.'
    >>> alt_of(Step("", press="Count it"))
    'Where “Count it” stands on the page.'
    """
    *most, last = [f"“{label}”" for label, _value in step.write] or [""]
    several = _("%(most)s and %(last)s") % {"most": ", ".join(most), "last": last}
    said = {"filled": several if most else last, "press": f"“{step.press}”"}
    if last and step.tick:
        return _("The page with %(filled)s filled in and a box ticked, and %(press)s to be pressed.") % said
    if last:
        return _("The page with %(filled)s filled in, and %(press)s to be pressed.") % said
    if step.tick:
        return _("The page with a box ticked, and %(press)s to be pressed.") % said
    return _("Where %(press)s stands on the page.") % said


@cache
def pictures(language: str) -> dict[str, Picture]:
    """By name, with the pages as they are in a language."""
    taken = json.loads((FOLDER / language / LIST).read_text())
    return {name: Picture(language, name, **told) for name, told in taken.items()}
