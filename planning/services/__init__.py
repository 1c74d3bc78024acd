"""The verbs of the planning side, a file per noun. They alone write; each is one transaction.

working_out.py   a warp from the database to its figures, yarn needs and demand; what a change touches
clock.py         between the calendar's moments and the planner's minutes
cloths.py        revisions and colourways
orders.py        orders and their lines
line_figures.py  what an order line takes, alone on a warp
line_plans.py    when the plan has a line's pieces off the loom
line_states.py   where a line is: where its hindmost piece is
combine.py       order lines into warps
warps.py         a warp put together, split, joined, taken apart, and its beam
beams.py         which beams there are for a warp
warp_yarn.py     lots held, drawn and let go for a warp
lot_shares.py    lots shared out to all warps together
shortages.py     what would end a shortage: who holds it, which delivery comes, what to order
warp_steps.py    a warp from planned to woven out, and a step back
looms.py         looms, reeds, beams, hours and the mill's own figures
plans.py         warps on looms
retiming.py      the plan in force follows what the floor tells
tickets.py       figures frozen for the floor
floor.py         what people tell at the machine, and taking it back
woven.py         picks, pieces and stops as they were told, in a loom's working minutes
actuals.py       when each beam runs out by that, and what is late
pieces.py        pieces cut, perched, mended, measured, judged, put to a line
finishing.py     batches in and out of steps, and what waits
dispatch.py      what leaves for a customer
shrinkage.py     what measured pieces teach of a cloth's route
tracing.py       from a piece back, from a lot forward
importing/       all of these out of CSV files
"""

from planning.services.working_out import audit_differences

__all__ = ["audit_differences"]
