"""Parts of the kernel run on their own: all units of one kind, or one control program, again and again.

Every round starts from the same saved memory, so nothing runs empty or over while its neighbours stand still.
"""

from __future__ import annotations

from plantsim.jit import entry
from plantsim.kernels.actuator import step_actuator
from plantsim.kernels.alarm import step_alarm
from plantsim.kernels.cell import step_bank
from plantsim.kernels.clarifier import spill_clarifier, step_clarifier
from plantsim.kernels.control import scan_program
from plantsim.kernels.doser import step_doser
from plantsim.kernels.instrument import step_instrument
from plantsim.kernels.line import step_line
from plantsim.kernels.machine import scan
from plantsim.kernels.makedown import step_makedown
from plantsim.kernels.motor import step_bus, step_motor
from plantsim.kernels.press import step_press
from plantsim.kernels.source import step_source, step_supply
from plantsim.kernels.splitter import step_splitter
from plantsim.kernels.vessel import spill_vessel, step_vessel

UNITS = (
    "motors", "instruments", "control", "actuators", "weirs", "sources", "dosers", "lines", "makedowns", "presses",
    "splitters", "clarifiers", "vessels", "cells", "alarms",
)  # fmt: skip
"""Kinds of unit by the number the drivers know them by, here and in the C twin."""
(MOTORS, INSTRUMENTS, CONTROL, ACTUATORS, WEIRS, SOURCES, DOSERS, LINES, MAKEDOWNS, PRESSES,
 SPLITTERS, CLARIFIERS, VESSELS, CELLS, ALARMS) = range(15)  # fmt: skip
NOTHING = -1
"""Number of an empty step: what the driver itself costs."""


@entry
def repeat_units(plant, saved, which, repeats, steps):
    """Step all units of a kind `steps` times from the saved memory, `repeats` times over."""
    flags = 0
    clock = plant.clock[0]
    m = plant.material[0]
    weather = plant.weather[0]
    streams, offers, ledger = plant.streams, plant.offers, plant.ledger
    dt = clock.dt
    for _ in range(repeats):
        for i in range(len(saved)):
            plant.mem[i] = saved[i]
        for _ in range(steps):
            tick = clock.tick
            now = tick * dt
            if which == MOTORS:
                for i in range(len(plant.bus_s)):
                    step_bus(plant.bus_s[i], dt)
                for i in range(len(plant.motor_p)):
                    step_motor(
                        plant.motor_p[i], plant.motor_s[i], plant.motor_f[i], plant.tags, plant.actuator_s,
                        plant.bus_s, now, dt,
                    )  # fmt: skip
            elif which == INSTRUMENTS:
                for i in range(len(plant.instrument_p)):
                    if tick >= plant.instrument_s[i].due:
                        step_instrument(
                            plant.instrument_p[i], plant.instrument_s[i], plant.instrument_f[i], tick, dt, clock.calm,
                            plant.mem, plant.imem, plant.tags,
                        )  # fmt: skip
            elif which == CONTROL:
                for i in range(len(plant.program_p)):
                    if tick >= plant.program_s[i].due:
                        every = plant.program_p[i].every
                        plant.program_s[i].due = tick + every - tick % every
                        flags |= scan_program(
                            plant.program_p[i], plant.program_s[i], plant.copy_p, plant.tags, plant.code, plant.mem,
                            plant.imem,
                        )  # fmt: skip
            elif which == ACTUATORS:
                for i in range(len(plant.actuator_p)):
                    step_actuator(
                        plant.actuator_p[i], plant.actuator_s[i], plant.actuator_f[i], plant.tags, plant.bus_s, dt
                    )
            elif which == WEIRS:
                for i in range(len(plant.vessel_p)):
                    spill_vessel(plant.vessel_p[i], plant.vessel_s[i], m, streams, offers, dt)
                for i in range(len(plant.clarifier_p)):
                    spill_clarifier(plant.clarifier_p[i], plant.clarifier_s[i], plant.tables, streams, plant.layers, dt)
            elif which == SOURCES:
                for i in range(len(plant.source_p)):
                    flags |= step_source(
                        plant.source_p[i], plant.source_s[i], m, clock, plant.tags, plant.tables, streams, offers,
                        ledger, dt,
                    )  # fmt: skip
                for i in range(len(plant.supply_p)):
                    flags |= step_supply(
                        plant.supply_p[i], plant.supply_s[i], weather, plant.actuator_s, streams, ledger, dt
                    )
            elif which == DOSERS:
                for i in range(len(plant.doser_p)):
                    flags |= step_doser(
                        plant.doser_p[i], plant.doser_s[i], plant.doser_f[i], m, weather, plant.motor_s,
                        plant.actuator_s, plant.tags, plant.plug_p, plant.plug_s, plant.parcels, streams, offers,
                        ledger, now, dt,
                    )  # fmt: skip
            elif which == LINES:
                for i in range(len(plant.line_p)):
                    flags |= step_line(
                        plant.line_p[i], plant.line_s[i], plant.line_f[i], plant.plug_p, plant.plug_s, plant.branch_p,
                        plant.branch_s, plant.pump_p, plant.pump_s, plant.pump_f, plant.motor_s, plant.actuator_s,
                        plant.links, plant.tables, streams, offers, plant.parcels, plant.mem, m, ledger, now, dt,
                    )  # fmt: skip
            elif which == MAKEDOWNS:
                for i in range(len(plant.makedown_p)):
                    flags |= step_makedown(
                        plant.makedown_p[i], plant.makedown_s[i], plant.makedown_f[i], plant.tags, plant.links,
                        streams, offers, ledger, dt,
                    )  # fmt: skip
            elif which == PRESSES:
                for i in range(len(plant.press_p)):
                    flags |= step_press(
                        plant.press_p[i], plant.press_s[i], m, plant.motor_s, plant.tags, streams, offers, ledger, dt
                    )
            elif which == SPLITTERS:
                for k in range(len(plant.order)):
                    i = plant.order[k]
                    step_splitter(
                        plant.splitter_p[i], plant.splitter_s[i], plant.links, plant.tables, plant.actuator_s, streams
                    )
            elif which == CLARIFIERS:
                for i in range(len(plant.clarifier_p)):
                    flags |= step_clarifier(
                        plant.clarifier_p[i], plant.clarifier_s[i], plant.clarifier_f[i], m, weather, plant.motor_s,
                        plant.actuator_s, plant.links, plant.tables, streams, offers, plant.layers, ledger,
                        plant.scratch, dt,
                    )  # fmt: skip
            elif which == VESSELS:
                for i in range(len(plant.vessel_p)):
                    flags |= step_vessel(
                        plant.vessel_p[i], plant.vessel_s[i], m, weather, plant.links, plant.tables, streams, offers,
                        ledger, dt,
                    )  # fmt: skip
            elif which == CELLS:
                for i in range(len(plant.bank_p)):
                    flags |= step_bank(
                        plant.bank_p[i], plant.bank_s[i], plant.cell_p, plant.cell_s, plant.cell_f, plant.actuator_s,
                        m, weather, streams, ledger, tick, dt,
                    )  # fmt: skip
            elif which == ALARMS:
                for i in range(len(plant.alarm_p)):
                    if tick >= plant.alarm_s[i].due:
                        step_alarm(
                            i, plant.alarm_p, plant.alarm_s, clock, plant.alarm_log, tick, plant.mem, plant.imem
                        )
            clock.tick = tick + 1
    return flags


@entry
def repeat_scan(code, mem, imem, repeats):
    """Scan one control program again and again; returns the fault bits met."""
    status = 0
    for _ in range(repeats):
        status |= scan(code, mem, imem, 0, 0, 100, 10_000)
    return status
