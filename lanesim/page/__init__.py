"""The page: lanesim in the browser, for people who do not type commands.

`server.run` serves one folder of plain files on this machine. `guard` refuses what does not come
from the page itself, `folder` is the only place that reads and writes files, `live` answers while
a hand moves, `jobs` keeps long work in a process of its own, `studies` is the one place that calls
the studies, `static` is what the browser gets. Nothing is computed here or in the browser that a
command does not compute.
"""
