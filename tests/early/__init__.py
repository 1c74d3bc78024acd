"""The example mill's book as the code of the first day left it (2279507, 25 November 2026), on each database.

`example_mill --on 2026-11-25` and `make.py` wrote it; `*.sql.xz` is Python's `iterdump` of it and `pg_dump --no-owner`
(15), and `figures.json.xz` what that code read in it with `figures.py`, the same from both.
"""
