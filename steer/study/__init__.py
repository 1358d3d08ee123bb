"""Studies: a planned axis driven many times over grounds drawn from stated ranges, and counted.

`ranges` says what is drawn, `drawing` draws a scenario from a seed, `task` drives one, `spread` hands
tasks to processes, `intervals` and `answers` count with confidence intervals, `outputs` writes them.
"""

from steer.study.answers import Answers, answer
from steer.study.ranges import Ranges, load_ranges, ranges_text
from steer.study.spread import Spread
from steer.study.task import Outcome, Plan, Task, run_task, tasks_of

__all__ = [
    "Answers",
    "Outcome",
    "Plan",
    "Ranges",
    "Spread",
    "Task",
    "answer",
    "load_ranges",
    "ranges_text",
    "run_task",
    "tasks_of",
]
