/* What all parts of the C twin share: the plant's memory as plant_layout.h lays it out, and small helpers. */
#ifndef COMMON_H
#define COMMON_H

#include <math.h>
#include <stddef.h>
#include <stdint.h>

#include "plant_layout.h"

#define PI 3.141592653589793

static inline double min_d(double a, double b) {
    return b < a ? b : a;
}
static inline double max_d(double a, double b) {
    return b > a ? b : a;
}
static inline int64_t min_i(int64_t a, int64_t b) {
    return b < a ? b : a;
}
static inline int64_t max_i(int64_t a, int64_t b) {
    return b > a ? b : a;
}

/* The least and the greatest of two, in the type of their sum. */
#define min(a, b) _Generic((a) + (b), double: min_d, int64_t: min_i, int: min_i)(a, b)
#define max(a, b) _Generic((a) + (b), double: max_d, int64_t: max_i, int: max_i)(a, b)

/* Head of pumps at a flow, and how fast it falls with flow. */
struct tangent {
    double head, slope;
};

/* Where branches and line meet. */
struct duty {
    double flow, head;
};

/* Friction of a line: hold + linear Q + square Q|Q|. */
struct friction {
    double linear, square, hold;
};

/* One pump brought up to date. */
struct finished {
    double head, margin;
    int64_t flags;
};

/* All pumps of a line brought up to date. */
struct suction {
    double margin;
    int64_t flags;
};

#endif
