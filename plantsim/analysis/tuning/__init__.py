"""Tuning of control loops: process models, tuning rules, controller forms, margins and relay tests.

All values are simulated or calculated: on site they are proved by bump tests, by qualified people, after limits
and interlocks have been tested.
"""
