/* A splitter box: what comes in leaves at once, shared between its outlets; as plantsim/kernels/splitter.py.
 */

static double splitter_weight(const struct splitter_p *p, int64_t j, const int64_t *links,
                              const double *tables, struct actuator_s *actuators);

/* Share the summed inlets by weights, which the positions of the outlets' gates may scale. */
static int64_t step_splitter(const struct splitter_p *p, struct splitter_s *restrict s, const int64_t *links,
                             const double *tables, struct actuator_s *actuators,
                             double (*restrict streams)[NS]) {
    double flow = 0.0;
    for (int64_t i = p->inlets; i < p->inlets + p->n_inlets; i++) {
        flow += streams[links[i]][VOLUME];
    }
    if (flow == 0.0 && s->flow == 0.0) {
        return 0;
    }
    s->flow = flow;
    double total = 0.0;
    for (int64_t j = 0; j < p->n_outs; j++) {
        total += splitter_weight(p, j, links, tables, actuators);
    }
    for (int64_t j = 0; j < p->n_outs; j++) {
        int64_t out = links[p->outs + j];
        double share;
        if (total > 0.0) {
            share = splitter_weight(p, j, links, tables, actuators) / total;
        } else {
            share = j == 0 ? 1.0 : 0.0;
        }
        if (share == 0.0 || p->n_inlets == 0) {
            no_flow(streams, out);
            continue;
        }
        int64_t first = links[p->inlets];
        for (int64_t k = 0; k < NS; k++) {
            streams[out][k] = streams[first][k];
        }
        for (int64_t i = p->inlets + 1; i < p->inlets + p->n_inlets; i++) {
            int64_t stream = links[i];
            for (int64_t k = 0; k < NS; k++) {
                streams[out][k] += streams[stream][k];
            }
        }
        if (share != 1.0) {
            for (int64_t k = 0; k < NS; k++) {
                streams[out][k] *= share;
            }
        }
    }
    return 0;
}

/* Weight of one outlet now. */
static double splitter_weight(const struct splitter_p *p, int64_t j, const int64_t *links,
                              const double *tables, struct actuator_s *actuators) {
    double weight = tables[p->weights + j];
    if (p->actuators >= 0) {
        weight *= actuators[links[p->actuators + j]].position;
    }
    return max(weight, 0.0);
}
