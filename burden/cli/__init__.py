"""The command line: reads, calls one function, prints. Everything heavy is imported inside the command that needs it.

```
root        the first command: errors of every kind become exit codes and, with --json, one object
common      options every command has
output      answers and problems as text or JSON
progress    the bar on a terminal
types       names of sets and agents, file names of figures
cases       report, decide, estimate, forecast, response, history, new, check
knowledge   interval, dose, parasites, agents
tables      import, table, group, round
sampling    find, mean, stop, recheck, arrivals
```

Exit codes: 0 done (warnings and a withheld recommendation included), 2 wrong input or options, 1 anything else,
130 stopped by hand.
"""

from __future__ import annotations

from burden.cli import cases, sampling, tables
from burden.cli import open as page
from burden.cli import reference as knowledge
from burden.cli.main import main

__all__ = ["main"]

for _command in (
    cases.report,
    cases.decide,
    page.open_command,
    cases.estimate,
    cases.forecast,
    cases.response,
    cases.history,
    knowledge.interval,
    sampling.sampling,
    knowledge.dose,
    cases.new,
    cases.check,
    tables.import_command,
    tables.table,
    tables.group,
    tables.round_command,
    knowledge.parasites,
    knowledge.agents,
):
    main.add_command(_command)
