"""The reckoner: the trade's sums one at a time, each with its working. Knows no mill.

Every sum calls the rooms and writes down what they say; none works a rule out itself.

>>> from decimal import Decimal
>>> answer = REGISTRY["take-up"].reckon({"take_up_pct": Decimal(7)})
>>> answer.figures[0]
Figure(name='crimp_pct', label='Crimp, of cloth length', value=Decimal('7.53'), unit='%')
>>> answer.steps[0].sum
'7 % ÷ (1 − 7 %)'
"""

# In the order in which the trade does its sums: each enters its own in REGISTRY.
from planning.reckoner import yarns  # isort: skip
from planning.reckoner import setting  # isort: skip
from planning.reckoner import warps  # isort: skip
from planning.reckoner import weaving  # isort: skip
from planning.reckoner import finish  # isort: skip
from planning.reckoner import pieces  # isort: skip
from planning.reckoner import money  # isort: skip
from planning.reckoner.sheet import REGISTRY, Answer, Figure, Input, Kind, Sum

__all__ = [
    "REGISTRY",
    "Answer",
    "Figure",
    "Input",
    "Kind",
    "Sum",
    "finish",
    "money",
    "pieces",
    "setting",
    "warps",
    "weaving",
    "yarns",
]
