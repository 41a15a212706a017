"""Motor starts against the published table and guidance."""

import itertools

import pytest

from plantsim.errors import ConfigError
from plantsim.physics import motors as mo

# NEMA MG 10, Table 2-3: hp and, for 2, 4 and 6 poles, starts in an hour / inertia-starts / rest [s].
TABLE = """
1 15/1.2/75 30/5.8/38 34/15/33
1.5 12.9/1.8/76 25.7/8.6/38 29.1/23/34
2 11.5/2.4/77 23/11/39 26.1/30/35
3 9.9/3.5/80 19.8/17/40 22.4/44/36
5 8.1/5.7/83 16.3/27/42 18.4/71/37
7.5 7.0/8.3/88 13.9/39/44 15.8/104/39
10 6.2/11/92 12.5/51/46 14.2/137/41
15 5.4/16/100 10.7/75/50 12.1/200/44
20 4.8/21/110 9.6/99/55 10.9/262/48
25 4.4/26/115 8.8/122/58 10.0/324/51
30 4.1/31/120 8.2/144/60 9.3/384/53
40 3.7/40/130 7.4/189/65 8.4/503/57
50 3.4/49/145 6.8/232/72 7.7/620/64
60 3.2/58/170 6.3/275/85 7.2/735/75
75 2.9/71/180 5.8/338/90 6.6/904/79
100 2.6/92/220 5.2/441/110 5.9/1181/97
125 2.4/113/275 4.8/542/140 5.4/1452/120
150 2.2/133/320 4.5/640/160 5.1/1719/140
200 2.0/172/600 4.0/831/300 4.5/2238/265
250 1.8/210/1000 3.7/1017/500 4.2/2744/440
"""
ROWS = [line.split() for line in TABLE.strip().splitlines()]


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_table(row):
    """NEMA MG 10, Table 2-3, typed twice, once here and once in the module; 20 rows by 9 figures."""
    hp = float(row[0])
    for poles, cell in zip((2, 4, 6), row[1:]):
        a, b, c = (float(x) for x in cell.split("/"))
        assert mo.start_limit(hp * mo.HP_KW, poles) == (hp, a, b, c)


def test_table_is_whole_and_in_order():
    """More power means fewer starts and longer rest; more poles mean more starts."""
    for rows in mo.START_LIMITS.values():
        assert [r.hp for r in rows] == [float(row[0]) for row in ROWS]
        for small, large in itertools.pairwise(rows):
            assert large.starts < small.starts
            assert large.inertia_starts > small.inertia_starts
            assert large.rest >= small.rest
    for two, four, six in zip(*mo.START_LIMITS.values()):
        assert two.starts < four.starts < six.starts


def test_allowed_starts():
    """25 hp, 4 poles, 10 lb ft2: min(8.8, 122/10) = 8.8, rest 58 s."""
    kw = 25.0 * mo.HP_KW
    assert mo.allowed_starts(kw, 4, 10.0 * mo.POUND_FOOT2) == 8.8
    assert mo.minimum_rest(kw, 4) == 58.0


def test_inertia_limits():
    """25 hp, 4 poles, 40 lb ft2: 122/40 = 3.05 starts an hour."""
    assert mo.allowed_starts(25.0 * mo.HP_KW, 4, 40.0 * mo.POUND_FOOT2) == pytest.approx(3.05)
    assert mo.allowed_starts(25.0 * mo.HP_KW, 4, 0.0) == 8.8


def test_pound_foot_squared():
    """1 lb ft2 = 0.04214011 kg m2 (NIST SP 811, App. B.8)."""
    assert pytest.approx(0.04214011, rel=1e-7) == mo.POUND_FOOT2


@pytest.mark.parametrize(
    ("kw", "hp"), [(0.25, 1.0), (18.5, 25.0), (19.5, 30.0), (75.0, 100.0), (76.5, 125.0), (110.0, 150.0)]
)
def test_between_rows_the_next_larger_motor(kw, hp):
    assert mo.start_limit(kw, 2).hp == hp


@pytest.mark.parametrize(
    ("kw", "poles", "text"), [(200.0, 4, "250 hp"), (5.0, 8, "8 poles"), (0.0, 4, "above zero")]
)
def test_outside_the_table(kw, poles, text):
    with pytest.raises(ConfigError, match=text):
        mo.start_limit(kw, poles)


@pytest.mark.parametrize(
    ("kw", "low", "high"), [(11.0, 10, 15), (15.0, 15, 20), (75.0, 15, 20), (90.0, 20, 30), (185.0, 20, 30)]
)
def test_minimum_cycle(kw, low, high):
    """EI 11C201 / UFC 3-240-04A, Table 7-1, in minutes."""
    assert mo.minimum_cycle(kw) == (low * 60.0, high * 60.0)


def test_minimum_cycle_of_small_motors_keeps_the_handbook_limit():
    """MIL-HDBK-1005/9A, 2.5.3.6 a(2): below 50 hp at least 6 min, that is 10 starts an hour."""
    for hp in (1.0, 10.0, 49.0):
        assert mo.minimum_cycle(hp * mo.HP_KW)[0] >= 360.0


def test_minimum_cycle_outside():
    with pytest.raises(ConfigError, match="185 kW"):
        mo.minimum_cycle(186.0)
    with pytest.raises(ConfigError, match="above zero"):
        mo.minimum_cycle(0.0)


def test_sliding_hour():
    """A start leaves the window exactly an hour later."""
    starts = [0.0, 900.0, 1800.0]
    assert mo.starts_in_window(starts, 3599.9) == 3
    assert mo.starts_in_window(starts, 3600.0) == 2
    assert mo.starts_in_window(starts, 1000.0) == 2


def test_start_allowed():
    starts = [0.0, 900.0, 1800.0]
    assert not mo.start_allowed(starts, 2000.0, 3599.0, 3.0, 58.0)
    assert mo.start_allowed(starts, 2000.0, 3600.0, 3.0, 58.0)
    assert not mo.start_allowed(starts, 3550.0, 3600.0, 3.0, 58.0)
    assert mo.start_allowed(starts, 3542.0, 3600.0, 3.0, 58.0)
    assert mo.start_allowed([], float("-inf"), 0.0, 1.8, 1000.0)
    assert not mo.start_allowed([0.0], 10.0, 1800.0, 1.8, 1000.0)
