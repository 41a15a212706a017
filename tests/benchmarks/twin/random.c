/* Random numbers whose state lives in the plant's records; as plantsim/kernels/random.py. splitmix64 (Steele,
 * Lea and Flood, OOPSLA 2014). */

/* The next state of a generator. */
static inline int64_t advance_state(int64_t state) {
    return (int64_t)((uint64_t)state + 0x9E3779B97F4A7C15u);
}

/* 64 random bits of a state. */
static inline uint64_t bits(int64_t state) {
    uint64_t z = (uint64_t)state;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
    return z ^ (z >> 31);
}

/* Uniform number in [0, 1) of a state. */
static inline double uniform(int64_t state) {
    return (double)(bits(state) >> 11) * (1.0 / 9007199254740992.0);
}

/* Near-normal number of a state: the sum of four 16-bit uniforms, mean 0, variance 1. */
static inline double normal(int64_t state) {
    uint64_t z = bits(state);
    uint64_t total = (z >> 48) + ((z >> 32) & 0xFFFF) + ((z >> 16) & 0xFFFF) + (z & 0xFFFF);
    return ((double)total - 131070.0) * (1.7320508075688772 / 65536.0);
}
