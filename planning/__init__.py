"""Planning: from the order to the loom, and from the loom to the customer.

The rooms, one line each. A file with a mill name is pure; a file with a Django name need not be.

cloth       the specification as numbers: width in the reed, ends, setts, mass
weave       threading and lifting: shafts, intersections, floats, repeat
sett        how tight a cloth may be: diameters, intersections, cover
finishing   shrinkage and loss through a route, both ways
warp        lengths to wind, colours of the ends, sections, packages for the creel
weft        picks, and length of each weft yarn
beam        what a beam holds, its diameter and mass
loom        does this cloth fit this loom; how long it takes to weave
gaiting     from one warp to the next: weft change, tie-in, draw-in, gait-up, and the minutes
worktime    working minutes of shifts and closures, to the calendar and back
combining   open order lines into warps
filling     which pieces go on which beam, so that all beams together cost least
shed        looms, tuners, hours and waiting warps as they stand
list_rules  paper rules that put warps on looms
shed_plan   which warp on which loom, in what order: the timing of a plan, its cost
improve     the search that makes a plan better; its inner loop is improve_kernel, the shed in its numbers improve_book
promise     the earliest safe date for what is not yet planned
run_out     what looms really wove, in what minutes, and what is left of a beam
running     where looms' minutes went: ran, stood and waited, by loom, week and shift
piece       grading, measured against planned
load        what planned warps take of each loom's working minutes, week by week
thrums      warp yarn that was drawn and never became cloth, against what was planned
weft_waste  weft yarn that was drawn, did not come back and never became cloth, lot by lot
seconds     pieces that did not pass, by the fault that made them so
period      the days, weeks and months that a report looks at
punctuality lines sent whole, each beside its due day, and the share in time
cost        what pieces cost, planned and as it went; a warp's set-up shared among them; the price
shrinkage   what measured pieces say of a route, and how much more to weave
picture     a cloth, its draft and a beam drawn as SVG
graph       columns, ranked bars and filled boxes of reports, drawn
formulae    the formulae in the trade's words: label, rule, unit and source of every figure
csv_book    a CSV file's rows and columns, and what is wrong with them
ticket      Figures and work_out(): every room called once, every figure rounded once
reckoner    the trade's sums one at a time, each with its working
"""
