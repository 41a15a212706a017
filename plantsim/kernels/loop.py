"""The loop that runs a plant: the fixed order of work inside one tick, for as many ticks as asked."""

from __future__ import annotations

import math

from plantsim.jit import entry, kernel, phase
from plantsim.kernels.actuator import step_actuator
from plantsim.kernels.alarm import step_alarm
from plantsim.kernels.cell import step_bank
from plantsim.kernels.clarifier import refresh_clarifier, spill_clarifier, step_clarifier
from plantsim.kernels.control import scan_program
from plantsim.kernels.doser import step_doser
from plantsim.kernels.instrument import step_instrument
from plantsim.kernels.line import step_line
from plantsim.kernels.makedown import refresh_makedown, step_makedown
from plantsim.kernels.motor import step_bus, step_motor
from plantsim.kernels.press import step_press
from plantsim.kernels.source import step_source, step_supply
from plantsim.kernels.splitter import step_splitter
from plantsim.kernels.vessel import refresh_vessel, spill_vessel, step_vessel

FAULT_PROGRAM, FAULT_NUMBER = 1, 2
"""Low byte of `clock.status`: a control program stopped (its number above), or a number is not finite."""


@phase
def step_signals(plant, tick, now, dt):
    """Power, motors, instruments, control scan, alarms and actuators of one tick. Returns a status."""
    clock = plant.clock[0]
    for i in range(len(plant.bus_s)):
        step_bus(plant.bus_s[i], dt)
    for i in range(len(plant.motor_p)):
        step_motor(
            plant.motor_p[i], plant.motor_s[i], plant.motor_f[i], plant.tags, plant.actuator_s, plant.bus_s, now, dt
        )
    for i in range(len(plant.instrument_p)):
        if tick >= plant.instrument_s[i].due:
            step_instrument(
                plant.instrument_p[i], plant.instrument_s[i], plant.instrument_f[i], tick, dt, clock.calm, plant.mem,
                plant.imem, plant.tags,
            )  # fmt: skip
    for i in range(len(plant.program_p)):
        if tick >= plant.program_s[i].due:
            every = plant.program_p[i].every
            plant.program_s[i].due = tick + every - tick % every
            status = scan_program(
                plant.program_p[i], plant.program_s[i], plant.copy_p, plant.tags, plant.code, plant.mem, plant.imem
            )
            if status != 0:
                return FAULT_PROGRAM + 256 * i
    for i in range(len(plant.alarm_p)):
        if tick >= plant.alarm_s[i].due:
            step_alarm(i, plant.alarm_p, plant.alarm_s, clock, plant.alarm_log, tick, plant.mem, plant.imem)
    for i in range(len(plant.actuator_p)):
        step_actuator(plant.actuator_p[i], plant.actuator_s[i], plant.actuator_f[i], plant.tags, plant.bus_s, dt)
    return 0


@phase
def step_flows(plant, now, dt):
    """Everything that moves material in one tick, from the state at its start. Returns warning bits."""
    flags = 0
    m = plant.material[0]
    clock = plant.clock[0]
    weather = plant.weather[0]
    streams, offers, ledger = plant.streams, plant.offers, plant.ledger
    for i in range(len(plant.vessel_p)):
        spill_vessel(plant.vessel_p[i], plant.vessel_s[i], m, streams, offers, dt)
    for i in range(len(plant.clarifier_p)):
        spill_clarifier(plant.clarifier_p[i], plant.clarifier_s[i], plant.tables, streams, plant.layers, dt)
    for i in range(len(plant.source_p)):
        flags |= step_source(
            plant.source_p[i], plant.source_s[i], m, clock, plant.tags, plant.tables, streams, offers, ledger, dt
        )
    for i in range(len(plant.supply_p)):
        flags |= step_supply(plant.supply_p[i], plant.supply_s[i], weather, plant.actuator_s, streams, ledger, dt)
    for i in range(len(plant.doser_p)):
        flags |= step_doser(
            plant.doser_p[i], plant.doser_s[i], plant.doser_f[i], m, weather, plant.motor_s, plant.actuator_s,
            plant.tags, plant.plug_p, plant.plug_s, plant.parcels, streams, offers, ledger, now, dt,
        )  # fmt: skip
    for i in range(len(plant.line_p)):
        flags |= step_line(
            plant.line_p[i], plant.line_s[i], plant.line_f[i], plant.plug_p, plant.plug_s, plant.branch_p,
            plant.branch_s, plant.pump_p, plant.pump_s, plant.pump_f, plant.motor_s, plant.actuator_s, plant.links,
            plant.tables, streams, offers, plant.parcels, plant.mem, m, ledger, now, dt,
        )  # fmt: skip
    for i in range(len(plant.makedown_p)):
        flags |= step_makedown(
            plant.makedown_p[i], plant.makedown_s[i], plant.makedown_f[i], plant.tags, plant.links, streams, offers,
            ledger, dt,
        )  # fmt: skip
    for i in range(len(plant.press_p)):
        flags |= step_press(
            plant.press_p[i], plant.press_s[i], m, plant.motor_s, plant.tags, streams, offers, ledger, dt
        )
    for k in range(len(plant.order)):
        i = plant.order[k]
        step_splitter(
            plant.splitter_p[i], plant.splitter_s[i], plant.links, plant.tables, plant.actuator_s, streams
        )
    return flags


@phase
def step_stores(plant, tick, dt):
    """Balance every store over the streams of this tick. Returns warning bits."""
    flags = 0
    m = plant.material[0]
    weather = plant.weather[0]
    streams, offers, ledger = plant.streams, plant.offers, plant.ledger
    for i in range(len(plant.clarifier_p)):
        flags |= step_clarifier(
            plant.clarifier_p[i], plant.clarifier_s[i], plant.clarifier_f[i], m, weather, plant.motor_s,
            plant.actuator_s, plant.links, plant.tables, streams, offers, plant.layers, ledger, plant.scratch, dt,
        )  # fmt: skip
    for i in range(len(plant.vessel_p)):
        flags |= step_vessel(
            plant.vessel_p[i], plant.vessel_s[i], m, weather, plant.links, plant.tables, streams, offers, ledger, dt
        )
    for i in range(len(plant.bank_p)):
        flags |= step_bank(
            plant.bank_p[i], plant.bank_s[i], plant.cell_p, plant.cell_s, plant.cell_f, plant.actuator_s, m, weather,
            streams, ledger, tick, dt,
        )  # fmt: skip
    return flags


@entry
def initialise(plant):
    """Form the offers and derived quantities of the starting state, once before the first tick."""
    m = plant.material[0]
    for i in range(len(plant.vessel_p)):
        refresh_vessel(plant.vessel_p[i], plant.vessel_s[i], m, plant.tables, plant.offers)
    for i in range(len(plant.clarifier_p)):
        refresh_clarifier(plant.clarifier_p[i], plant.clarifier_s[i], m, plant.tables, plant.offers, plant.layers)
    for i in range(len(plant.makedown_p)):
        refresh_makedown(plant.makedown_p[i], plant.makedown_s[i], plant.offers)


@entry
def advance(plant, ticks, rows, cells, integer, every):
    """Run a plant for some ticks and record it.

    Parameters
    ----------
    plant : Plant
        All arrays of the plant.
    ticks : int
        Ticks to run.
    rows : ndarray, shape (n, channels)
        Record; row k is the state at tick k * every.
    cells, integer : ndarray of int, shape (channels,)
        Memory cells recorded, and 1 where they hold integers.
    every : int
        Ticks between rows.

    Returns
    -------
    int
        0, or the fault that stopped the run: kind + 256 * number of the program.

    Notes
    -----
    It stops before its time, at a whole tick, when the ring of alarm changes might not hold those of one more tick:
    whoever calls it looks at the clock, takes what the ring holds, and calls again.
    """
    clock = plant.clock[0]
    dt = clock.dt
    shown = -(-clock.tick // every) * every  # tick of the next row
    room = len(plant.alarm_log) - len(plant.alarm_p)
    for _ in range(ticks):
        tick = clock.tick
        now = tick * dt
        if tick == shown:
            record(plant.mem, plant.imem, rows, cells, integer, tick // every)
            shown += every
        status = step_signals(plant, tick, now, dt)
        if status != 0:
            clock.status = status
            return status
        clock.warned |= step_flows(plant, now, dt) | step_stores(plant, tick, dt)
        clock.tick = tick + 1
        if clock.notes - clock.notes_read > room:
            break
    if clock.tick % every == 0:
        record(plant.mem, plant.imem, rows, cells, integer, clock.tick // every)
    if not finite(plant.streams, plant.offers):
        clock.status = FAULT_NUMBER
        return FAULT_NUMBER
    return 0


@kernel
def record(mem, imem, rows, cells, integer, row):
    """Write one row of the record."""
    if row < rows.shape[0]:
        for c in range(len(cells)):
            rows[row, c] = imem[cells[c]] if integer[c] != 0 else mem[cells[c]]


@kernel
def finite(streams, offers):
    """Whether what every unit gives is still a number: a step too long for a plant shows here first."""
    total = 0.0
    for row in (streams, offers):
        for i in range(row.shape[0]):
            for k in range(row.shape[1]):
                total += row[i, k]
    return math.isfinite(total)
