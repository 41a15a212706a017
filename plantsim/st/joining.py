"""Joining rows that often stand together into one that does the work of all of them.

The way from one row to the next costs the machine more than most rows do. A joined row takes the place of the
first row of its group and reads the operands of the others where they stand: no row moves, so jumps (into the midst
of a group too), faults and the lines of the source stay what they were.
"""

from __future__ import annotations

from plantsim import opcodes as op

AFTER_MOVE = {op.TON: op.MOVE_TON, op.JUMP_FALSE: op.MOVE_TEST, op.SELECT: op.MOVE_PICK}
"""What joins the last of a run of moves with the row behind it."""


def join(rows: list[list[int]]) -> None:
    """Put joined rows in place of the first row of each group, in one pass over finished code.

    Parameters
    ----------
    rows : list of [opcode, a, b, c]
        Rows of a program, changed in place.

    Examples
    --------
    >>> rows = [[op.MOVE, 1, 2, 0], [op.MOVE, 3, 4, 0], [op.MOVE, 5, 6, 0], [op.END, 0, 0, 0]]
    >>> join(rows)
    >>> rows[0] == [op.MOVES, 1, 2, 2], rows[1] == [op.MOVE, 3, 4, 0]
    (True, True)
    """
    at = 0
    while at < len(rows):
        at += _join_at(rows, at)


def _join_at(rows: list[list[int]], at: int) -> int:
    """Join the group that begins at a row, if one does; returns the rows it takes."""
    codes = [row[0] for row in rows[at : at + 3]]
    if codes[0] == op.MOVE:
        moves = 1
        while rows[at + moves][0] == op.MOVE:  # the last row is no MOVE: a unit ends with END or RETURN
            moves += 1
        joined = AFTER_MOVE.get(rows[at + moves][0])
        taken = moves
        if joined is not None:
            moves -= 1
            taken += 1
            rows[at + moves][0] = joined
        if moves > 1:
            rows[at][0], rows[at][3] = op.MOVES, moves - 1
        return taken
    if codes == [op.NOT_B, op.MOVE, op.TON]:
        rows[at][0] = op.NOT_TON
        return 3
    if codes == [op.LE_F, op.MOVE, op.TON]:
        rows[at][0] = op.LE_TON
        return 3
    if codes[:2] == [op.MAX_F, op.MIN_F]:
        rows[at][0] = op.MAX_MIN
        return 2
    if codes[:2] == [op.NOT_B, op.AND_I]:
        rows[at][0] = op.NOT_AND
        return 2
    if codes[:2] == [op.INDEX, op.LOAD_X] and rows[at + 1][2] == rows[at][1]:
        if codes[2:] == [op.JUMP_FALSE] and rows[at + 2][1] == rows[at + 1][1]:
            far = at + 3 + rows[at + 2][3]
            seeks = rows[far][0] == op.FOR_NEXT and far + 1 + rows[far][3] == at
            rows[at][0] = op.SEEK if seeks else op.INDEX_TEST
            return 3
        rows[at][0] = op.INDEX_LOAD
        return 2
    return 1
