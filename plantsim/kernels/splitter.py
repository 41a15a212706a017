"""A splitter box: what comes in leaves at once, shared between its outlets."""

from __future__ import annotations

from plantsim.jit import kernel
from plantsim.kernels.rows import no_flow
from plantsim.records import NS, VOLUME


@kernel
def step_splitter(p, s, links, tables, actuators, streams):
    """Share the summed inlets by weights, which the positions of the outlets' gates may scale.

    With every weight at zero all goes to the first outlet: a box that is shut everywhere runs over there.
    """
    flow = 0.0
    for i in range(p.inlets, p.inlets + p.n_inlets):
        flow += streams[links[i], VOLUME]
    if flow == 0.0 and s.flow == 0.0:
        return 0
    s.flow = flow
    total = 0.0
    for j in range(p.n_outs):
        total += _weight(p, j, links, tables, actuators)
    for j in range(p.n_outs):
        out = links[p.outs + j]
        if total > 0.0:
            share = _weight(p, j, links, tables, actuators) / total
        else:
            share = 1.0 if j == 0 else 0.0
        if share == 0.0 or p.n_inlets == 0:
            no_flow(streams, out)
            continue
        first = links[p.inlets]
        for k in range(NS):
            streams[out, k] = streams[first, k]
        for i in range(p.inlets + 1, p.inlets + p.n_inlets):
            stream = links[i]
            for k in range(NS):
                streams[out, k] += streams[stream, k]
        if share != 1.0:
            for k in range(NS):
                streams[out, k] *= share
    return 0


@kernel
def _weight(p, j, links, tables, actuators):
    """Weight of one outlet now."""
    weight = tables[p.weights + j]
    if p.actuators >= 0:
        weight *= actuators[links[p.actuators + j]].position
    return max(weight, 0.0)
