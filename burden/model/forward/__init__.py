"""One case, one schedule, many parameter draws at once: the forward equations.

Each step takes every chain of the life cycle exactly, as a Poisson number of stages passed, with what flows in as a
parabola in time and brakes that change evenly; temperature and the deaths of fish are held at their mid-step values.
The scheme is of second order; order and error are measured against an adaptive solver in the tests. Flukes on the fish
are counted per fish of susceptibility 1: settling, development and kill treat all classes alike, so one chain serves
every class, and a class carries its susceptibility times as many.

```
kinds      what a run is given, what changes in it, and what it gives
run        from the first day to the last
stepper    one step
flows      what enters and leaves the chains during a step
rates      rates among so many fish, with so much drug in the water
slope      the same equations without a time step, for the tests
```
"""

from burden.model.forward.derivative import derivative
from burden.model.forward.run import COARSE_STEP_DAYS, MAX_STEP_DAYS, MAX_STEP_DEGREE_DAYS, simulate
from burden.model.forward.state import DrugInWater, Event, Scenario, State, Trajectory

__all__ = [
    "COARSE_STEP_DAYS",
    "MAX_STEP_DAYS",
    "MAX_STEP_DEGREE_DAYS",
    "DrugInWater",
    "Event",
    "Scenario",
    "State",
    "Trajectory",
    "derivative",
    "simulate",
]
