"""The way of a lot: one step, one file, the same for books, plan and design.

`names` is the chart of accounts, `state` what is known of a lot, `order` what may follow what on each
route, `matter` whole grams. Each other file is a step (or a few that belong together) and answers for
it: may it follow, what does it ask, what moves, what comes next, what looks odd, what can hurt, what
does it take. Nothing here knows of records or pages.
"""
