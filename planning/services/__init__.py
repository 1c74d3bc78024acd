"""The verbs of the planning side, a file per noun. They alone write; each is one transaction.

working_out.py   a warp from the database to its figures, yarn needs and demand; what a change touches
clock.py         between the calendar's moments and the planner's minutes
cloths.py        revisions and colourways
orders.py        orders and their lines
combine.py       order lines into warps
warps.py         a warp from proposed to woven out
looms.py         looms, reeds, beams, hours and the mill's own figures
plans.py         warps on looms
tickets.py       figures frozen for the floor
pieces.py        pieces measured against their plan
importing/       all of these out of CSV files
"""

from planning.services.working_out import audit_differences

__all__ = ["audit_differences"]
