"""Standard function blocks against the truth tables and timing diagrams of IEC 61131-3.

Sources: IEC 61131-3:2003, 2.5.2.3, Tables 34 to 37 and the timing diagrams of Figure 15 (third edition: Tables 43
to 46), recalled from memory; where the standard leaves a case open (a preset changed while the timer runs, both
edges of CTUD in one call) the test names the choice made here.
"""

from __future__ import annotations

import pytest


def pulses(spans: list[tuple[int, int]], at: int) -> bool:
    return any(a <= at < b for a, b in spans)


def trace(controller, block: str, spans, until: int, *, step: int = 10, preset: str = "T#100ms"):
    """Scan times [ms] at which Q is TRUE as spans, and ET at every scan."""
    c = controller(
        f"PROGRAM P VAR_INPUT x : BOOL; END_VAR VAR_OUTPUT q : BOOL; et : TIME; END_VAR VAR t : {block}; END_VAR\n"
        f"t(IN := x, PT := {preset}, Q => q, ET => et); END_PROGRAM"
    )
    times = range(0, until, step)
    q, et = {}, {}
    for at in times:
        c["x"] = pulses(spans, at)
        c.scan(step)
        q[at], et[at] = c["q"], c["et"]
    edges = [at for at in times if q[at] != q.get(at - step, 0)]
    if len(edges) % 2:
        edges.append(until)
    return [(edges[n], edges[n + 1]) for n in range(0, len(edges), 2)], et


@pytest.mark.parametrize(
    ("block", "given", "expected"),
    [
        ("TON", [(0, 150)], [(100, 150)]),
        ("TON", [(200, 260)], []),
        ("TON", [(20, 150), (200, 400)], [(120, 150), (300, 400)]),
        ("TOF", [(0, 50)], [(0, 150)]),
        ("TOF", [(0, 50), (120, 160)], [(0, 260)]),
        ("TP", [(0, 30)], [(0, 100)]),
        ("TP", [(0, 250)], [(0, 100)]),
        ("TP", [(0, 30), (60, 80)], [(0, 100)]),
        ("TP", [(0, 30), (60, 180), (200, 210)], [(0, 100), (200, 300)]),
    ],
)
def test_timer_diagram(controller, block: str, given, expected) -> None:
    # Table 37 and its timing diagrams, worked out for PT = 100 ms and a scan of 10 ms
    spans, _ = trace(controller, block, given, 500)
    assert spans == expected


def test_elapsed_time_holds_and_falls_as_in_the_diagrams(controller) -> None:
    _, et = trace(controller, "TON", [(0, 150)], 200)
    assert [et[at] for at in (0, 50, 90, 100, 140, 150)] == [0, 50, 90, 100, 100, 0]
    _, et = trace(controller, "TOF", [(0, 50)], 300)
    assert [et[at] for at in (0, 40, 50, 100, 150, 290)] == [0, 0, 0, 50, 100, 100]
    _, et = trace(controller, "TP", [(0, 250)], 300)
    assert [et[at] for at in (0, 50, 100, 240, 250)] == [0, 50, 100, 100, 0]
    _, et = trace(controller, "TP", [(0, 30)], 150)
    assert [et[at] for at in (20, 90, 100)] == [20, 90, 0]


def test_scan_longer_than_the_preset_delays_by_at_most_one_scan(controller) -> None:
    # the diagrams hold to within one scan: PT 100 ms seen by scans of 70 ms turns at 140 ms
    assert trace(controller, "TON", [(0, 700)], 700, step=70)[0] == [(140, 700)]
    assert trace(controller, "TP", [(0, 70)], 700, step=70)[0] == [(0, 140)]


def test_input_shorter_than_a_scan_is_not_seen(controller) -> None:
    # inputs are sampled once for each scan: a pulse between two scans starts nothing, one that covers a scan does
    for block in ("TON", "TOF", "TP"):
        assert trace(controller, block, [(12, 18)], 300)[0] == []
    assert trace(controller, "TP", [(19, 21)], 300)[0] == [(20, 120)]
    assert trace(controller, "TOF", [(19, 21)], 300)[0] == [(20, 130)]


@pytest.mark.parametrize("preset", ["T#0s", "T#-5s"])
def test_preset_zero_or_less(controller, preset: str) -> None:
    # ET reaches PT at once: TON and TOF follow IN, TP never shows its pulse
    assert trace(controller, "TON", [(20, 60)], 100, preset=preset)[0] == [(20, 60)]
    assert trace(controller, "TOF", [(20, 60)], 100, preset=preset)[0] == [(20, 60)]
    spans, et = trace(controller, "TP", [(20, 60)], 100, preset=preset)
    assert spans == [] and set(et.values()) == {0}


@pytest.mark.parametrize("block", ["TON", "TOF", "TP"])
def test_preset_changed_while_timing_counts_at_once_and_after_that_not(controller, block: str) -> None:
    # implementer-specific (2.5.2.3.4): here PT is read at each call until the timer has run out
    c = controller(
        f"PROGRAM P VAR_INPUT x : BOOL; pt : TIME; END_VAR VAR_OUTPUT q : BOOL; et : TIME; END_VAR "
        f"VAR t : {block}; END_VAR t(IN := x, PT := pt, Q => q, ET => et); END_PROGRAM"
    )
    seen = []
    for at in range(0, 300, 10):
        c["x"] = at == 0 if block == "TOF" else True
        c["pt"] = 100 if at < 50 else 60 if at < 150 else 500
        c.scan(10)
        seen.append(c["q"])
    start = 10 if block == "TOF" else 0
    turned = [at for at in range(10, 300, 10) if seen[at // 10] != seen[at // 10 - 1]]
    assert turned == [start + 60]
    assert c["et"] == 60


def test_timer_not_called_in_every_scan_measures_real_time(controller) -> None:
    c = controller(
        "PROGRAM P VAR_OUTPUT q : BOOL; et : TIME; END_VAR VAR t : TON; n : INT; END_VAR "
        "n := n + 1; IF n MOD 4 = 1 THEN t(IN := TRUE, PT := T#100ms, Q => q, ET => et); END_IF; END_PROGRAM"
    )
    seen = []
    for _ in range(14):
        c.scan(10)
        seen.append(c["et"])
    assert seen[8] == 80 and seen[12] == 100 and c["q"] == 1


def test_counters(controller) -> None:
    # Table 36: reset and load win over counting, only rising edges count, Q compares with PV
    c = controller(
        "PROGRAM P VAR_INPUT cu, cd, r, ld : BOOL; pv : INT := 3; END_VAR VAR u : CTU; d : CTD; ud : CTUD; END_VAR "
        "u(CU := cu, R := r, PV := pv); d(CD := cd, LD := ld, PV := pv); "
        "ud(CU := cu, CD := cd, R := r, LD := ld, PV := pv); END_PROGRAM"
    )

    def step(**pins: int) -> tuple:
        for pin in ("cu", "cd", "r", "ld"):
            c[pin] = pins.get(pin, 0)
        c.scan()
        return c["u.CV"], c["u.Q"], c["d.CV"], c["d.Q"], c["ud.CV"], c["ud.QU"], c["ud.QD"]

    assert step() == (0, 0, 0, 1, 0, 0, 1)
    assert step(cu=1) == (1, 0, 0, 1, 1, 0, 0)
    assert step(cu=1) == (1, 0, 0, 1, 1, 0, 0)  # no new edge
    assert step() and step(cu=1)[:2] == (2, 0)
    assert step() and step(cu=1) == (3, 1, 0, 1, 3, 1, 0)
    assert step(ld=1) == (3, 1, 3, 0, 3, 1, 0)
    assert step(cd=1) == (3, 1, 2, 0, 2, 0, 0)
    assert step(r=1, ld=1) == (0, 0, 3, 0, 0, 0, 1)  # reset before load
    assert step(r=1, cu=1)[:2] == (0, 0)
    assert step(cu=1)[:2] == (0, 0)  # the edge passed during the reset is gone
    assert step() and step(cu=1, cd=1)[4] == 0  # both edges together cancel: choice made here
    c["pv"] = 0
    assert step()[1] == 1  # CV >= PV at PV = 0


def test_counters_stop_at_the_ends_of_their_type(controller) -> None:
    c = controller(
        "PROGRAM P VAR_INPUT x : BOOL; END_VAR VAR u : CTU; l : CTU_DINT; d : CTD; END_VAR "
        "u(CU := x, PV := 5); l(CU := x, PV := 5); d(CD := x, PV := 5); END_PROGRAM"
    )
    c["u.CV"], c["l.CV"], c["d.CV"] = 32766, 32766, -32767
    for _ in range(3):
        c["x"] = 1
        c.scan()
        c["x"] = 0
        c.scan()
    assert (c["u.CV"], c["l.CV"], c["d.CV"]) == (32767, 32769, -32768)


def test_bistables_and_edges(controller) -> None:
    # Tables 34 and 35: SR set wins, RS reset wins; the edge memories start FALSE
    c = controller(
        "PROGRAM P VAR_INPUT s, r, x : BOOL; END_VAR VAR a : SR; b : RS; up : R_TRIG; down : F_TRIG; END_VAR "
        "a(S1 := s, R := r); b(S := s, R1 := r); up(CLK := x); down(CLK := x); END_PROGRAM"
    )
    seen = []
    for s, r in ((0, 0), (1, 0), (0, 0), (0, 1), (1, 1), (0, 0)):
        c["s"], c["r"] = s, r
        c.scan()
        seen.append((c["a.Q1"], c["b.Q1"]))
    assert seen == [(0, 0), (1, 1), (1, 1), (0, 0), (1, 0), (1, 0)]
    edges = []
    for x in (0, 1, 1, 0, 0, 1):
        c["x"] = x
        c.scan()
        edges.append((c["up.Q"], c["down.Q"]))
    assert edges == [(0, 0), (1, 0), (0, 0), (0, 1), (0, 0), (1, 0)]


def test_edges_in_the_first_call_follow_the_standard_bodies(controller) -> None:
    text = (
        "PROGRAM P VAR_INPUT x : BOOL; END_VAR VAR u : R_TRIG; d : F_TRIG; END_VAR "
        "u(CLK := x); d(CLK := x); END_PROGRAM"
    )
    high, low = controller(text), controller(text)
    high["x"] = 1
    high.scan()
    low.scan()
    assert (high["u.Q"], high["d.Q"], low["u.Q"], low["d.Q"]) == (1, 0, 0, 1)


def test_hysteresis_from_the_library(controller) -> None:
    c = controller(
        "PROGRAM P VAR_INPUT level : REAL; END_VAR VAR_OUTPUT run : BOOL; END_VAR VAR h : HYSTERESIS; END_VAR "
        "h(IN := level, HIGH := 2.0, LOW := 1.0, OUT => run); END_PROGRAM"
    )
    seen = []
    for level in (1.5, 1.99, 2.0, 1.5, 1.01, 1.0, 1.5):
        c["level"] = level
        c.scan()
        seen.append(c["run"])
    assert seen == [0, 0, 1, 1, 1, 0, 0]
