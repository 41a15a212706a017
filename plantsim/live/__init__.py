"""The training page: a live plant paced against the clock, a trainer and operators, lessons and their debrief.

`engine` paces one simulation in a thread of its own, `desk` says who may do what, `journal` and `session` keep all
that was done on disk, `server` shows it to browsers. Values are simulated: this is no control system.
"""
