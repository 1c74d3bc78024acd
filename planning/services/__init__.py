"""The verbs of the planning side, a file per noun. They alone write; each is one transaction.

working_out.py   a warp from the database to its figures, yarn needs and demand; what a change touches
"""
