"""The store: yarn from the supplier's promise to the loom, and back in part cones.

The rooms, one line each. A file with a mill name is pure; a file with a Django name need not be.

yarn          counts, plies, regain; length and mass of yarn as a material
count_sheet   a count worked to tex, step by step
ledger        balances from movements and holds, what may be written, what breaks a rule
draw          which lots to draw for a need: one dye lot, oldest first, useful remainders
share_out     which lots go to which warp when all that wait are decided together, and why
shelf         the dye lots of one yarn, those who want of it, what a way of serving them costs
dealing       the search for the best way to serve all who want of a shelf
cure          which promised delivery ends a shortage, and what to order when none does
drawdown      day by day what there will be, what runs short, when to order
dye_lots      the draw-down by dye lot: out of which one each day's yarn comes
curve         the draw-down drawn: where its line, its shortage and its marks stand
turnover      how often a yarn's stock is used up in a year, and how long it lasts
foresight     what a change would do to a yarn: its draw-down now and then
stocktake     what the scales had against the book, and what moisture explains of it
claim         what is short of an invoice, at the agreed regain
store_care    what is due an inspection, a lure or a look, and why
treatment     what is in print about freezing and heating yarn, and whether a treatment met it
"""
