"""Candlebeck, the example mill: half a year of work, lived through day by day from a seed.

names.py    its looms, yarns, cloths and customers
story.py    the day on which it stands, the dice, and the clock that is held while its past is written
shed.py     looms, reeds, beams, hours and closures
cloths.py   yarns, and cloths with their revisions
orders.py   customers, and the order book as it stands
past.py     warps woven out and their pieces measured
sent.py     what the final perch said of them, and the notes with which they left
store.py    lots, deliveries and the ledger
money.py    rates, and what yarn costs
floor.py    warps on their way to the loom and in it, the plan, the tickets
told.py     who works on the floor, and what they told of the looms in the last days

The past is written all at once and the present through the same services as the pages use; the database's own rules
look at both.
"""
