"""Checks statements: assignments, calls, control flow, and the warnings about them."""

from __future__ import annotations

from . import ir, tree
from . import types as t
from .check_calls import CallChecker
from .check_expressions import is_unknown
from .source import article
from .units import Pou


class StatementChecker(CallChecker):
    """Statements of one unit."""

    loops = 0

    def block(self, nodes: list[tree.Statement]) -> tuple[list[ir.Statement], bool]:
        """Check statements in order; also whether the end can be reached."""
        result: list[ir.Statement] = []
        reachable = True
        warned = False
        for node in nodes:
            if not reachable and not warned:
                self.warn(node.pos, "this statement can never be reached")
                warned = True
            statement, goes_on = self.statement(node)
            if statement is not None:
                result.append(statement)
            reachable = reachable and goes_on
        return result, reachable

    def statement(self, node: tree.Statement) -> tuple[ir.Statement | None, bool]:
        """Check one statement."""
        if isinstance(node, tree.Assign):
            return self._assign(node), True
        if isinstance(node, tree.CallStatement):
            return self._call(node.call), True
        if isinstance(node, tree.If):
            return self._if(node)
        if isinstance(node, tree.Case):
            return self._case(node)
        if isinstance(node, tree.For):
            return self._for(node)
        if isinstance(node, tree.While):
            return self._while(node)
        if isinstance(node, tree.Repeat):
            return self._repeat(node)
        if node.kind != "RETURN" and not self.loops:
            self.error(node.pos, f"{node.kind} stands outside any loop; expected inside FOR, WHILE or REPEAT")
        return ir.Jump(node.pos, node.kind), False

    def _assign(self, node: tree.Assign) -> ir.Statement | None:
        target = None
        if isinstance(node.target, tree.Call):
            self.error(node.target.pos, "found a call, expected a variable left of ':='")
        elif self.may_write(node.target):
            target = self.place(node.target, write=True)
        root = self.root(node.target)
        if target is None:
            self.expression(node.value)
            return None
        if isinstance(target.type, Pou):
            self.error(node.target.pos, "a block cannot be assigned; call it, or assign one of its inputs")
            return None
        value = self.value(node.value, target.type)
        self.note_written(node.target)
        if root is not None and root.section == "in_out":
            root.read = True
        if is_unknown(value):
            return None
        if not self.scalar(target.type):
            if not isinstance(value, ir.Place | ir.Call):
                return None
            return ir.Copy(node.pos, target, value)
        limits = (target.type.low, target.type.high) if isinstance(target.type, t.Subrange) else None
        return ir.Store(node.pos, target, value, limits)

    def _call(self, node: tree.Call) -> ir.Statement | None:
        root = self.root(node.of)
        if root is not None and root.name.upper() != self.pou.name.upper():
            instance = self.place(node.of)
            if instance is None:
                for argument in node.arguments:
                    if not argument.output:
                        self.expression(argument.value)
                return None
            if not isinstance(instance.type, Pou):
                self.error(node.pos, f"{article(instance.type.name)} cannot be called; expected a block instance")
                return None
            arguments, outputs = self.arguments(node, instance.type, instance)
            return ir.Invoke(node.pos, instance.type, instance, arguments, outputs)
        value = self.call(node)
        if isinstance(value, ir.Call):
            return ir.CallAlone(node.pos, value)
        if not is_unknown(value):
            self.error(node.pos, "the value of this function is not used; expected ':=' before it")
        return None

    def _condition(self, node: tree.Expr, word: str) -> ir.Expr:
        if isinstance(node, tree.Bad):
            return ir.Const(node.pos, t.UNKNOWN, 0)
        value = self.expression(node, t.BOOL)
        if not is_unknown(value) and value.type is not t.BOOL:
            self.error(node.pos, f"the condition of {word} must be BOOL, found {value.type.name}")
        return value

    # -- definite assignment: sets of cells, joined where paths meet -----------------------------------------

    def _branch(self, nodes: list[tree.Statement]) -> tuple[list[ir.Statement], bool, set[int] | None]:
        before = None if self.assigned is None else set(self.assigned)
        body, goes_on = self.block(nodes)
        after, self.assigned = self.assigned, before
        return body, goes_on, after

    def _join(self, ends: list[tuple[bool, set[int] | None]]) -> None:
        live = [after for goes_on, after in ends if goes_on and after is not None]
        if self.assigned is not None and live:
            self.assigned = set.intersection(*live)

    def _if(self, node: tree.If) -> tuple[ir.Statement, bool]:
        branches = []
        ends = []
        always = False
        for condition, nodes in node.branches:
            value = self._condition(condition, "IF")
            if isinstance(value, ir.Const) and not is_unknown(value):
                if not value.value and nodes:
                    self.warn(nodes[0].pos, "this branch can never be reached: its condition is always FALSE")
                elif value.value:
                    always = True
            body, goes_on, after = self._branch(nodes)
            branches.append((value, body))
            ends.append((goes_on, after))
        otherwise, goes_on, after = self._branch(node.otherwise)
        if always and node.otherwise:
            self.warn(node.otherwise[0].pos, "this ELSE can never be reached: a condition above is always TRUE")
        ends.append((goes_on, after))
        self._join(ends)
        return ir.If(node.pos, branches, otherwise), any(end[0] for end in ends)

    def _case(self, node: tree.Case) -> tuple[ir.Statement, bool]:
        selector = self.settle(self.expression(node.selector)) if not isinstance(node.selector, tree.Bad) \
            else ir.Const(node.pos, t.UNKNOWN, 0)
        kind = selector.type
        usable = isinstance(kind, t.EnumType) or (isinstance(kind, t.Elementary) and kind.kind in ("int", "bits"))
        if not usable and not is_unknown(selector):
            self.error(node.selector.pos, f"CASE selects by an integer or enumeration, found {kind.name}")
        taken: list[tuple[int, int]] = []
        groups = []
        ends = []
        for labels, nodes in node.groups:
            ranges = []
            for low, high in labels:
                first = self._label(low, kind) if usable else None
                last = first if high is None else self._label(high, kind) if usable else None
                if first is None or last is None:
                    continue
                if first > last:
                    self.error(low.pos, f"range {first}..{last} is empty")
                elif any(a <= last and first <= b for a, b in taken):
                    self.warn(low.pos, "this CASE label overlaps an earlier one, which is taken first")
                taken.append((first, last))
                ranges.append((first, last))
            body, goes_on, after = self._branch(nodes)
            groups.append((ranges, body))
            ends.append((goes_on, after))
        otherwise, goes_on, after = self._branch(node.otherwise)
        if isinstance(kind, t.EnumType) and not node.otherwise:
            covered = all(any(a <= v <= b for a, b in taken) for v in kind.members.values())
            if not covered:
                ends.append((goes_on, after))
            elif not ends:
                ends.append((True, after))
        else:
            ends.append((goes_on, after))
        self._join(ends)
        return ir.Case(node.pos, selector, groups, otherwise), any(end[0] for end in ends)

    def _label(self, node: tree.Expr, kind: t.Type) -> int | None:
        value = self.value(node, kind)
        if is_unknown(value):
            return None
        if isinstance(value, ir.Const):
            return int(value.value)
        constant = self.compiler.constant_of(value, self.pou)
        if constant is None:
            self.error(node.pos, "a CASE label must be a constant")
            return None
        return int(constant)

    def _for(self, node: tree.For) -> tuple[ir.Statement | None, bool]:
        variable = None
        if not isinstance(node.variable, tree.Bad) and self.may_write(node.variable):
            variable = self.place(node.variable, write=True)
        root = self.root(node.variable)
        kind: t.Type = t.UNKNOWN
        if variable is not None and root is not None:
            root.read = True
            kind = variable.type
            if not isinstance(kind, t.Elementary) or kind.kind != "int" or kind.unsigned64:
                self.error(node.variable.pos, f"the counter of FOR must be an integer but ULINT, found {kind.name}")
                kind = t.UNKNOWN
            elif variable.pointer or variable.steps:
                self.error(node.variable.pos, "the counter of FOR must be a variable of its own, not VAR_IN_OUT")
        one = ir.Const(node.pos, kind, 1)  # type: ignore[arg-type]
        first, last, step = (
            one if part is None or isinstance(part, tree.Bad) else self.value(part, kind)
            for part in (node.first, node.last, node.step)
        )
        if isinstance(step, ir.Const) and step.value == 0 and not is_unknown(step):
            self.error(node.pos, "FOR with step 0 never ends")
        self.note_written(node.variable)
        if root is not None:
            self.loop_cells.append(root.cell)
        body, _ = self._loop_body(node.body)
        if root is not None:
            self.loop_cells.pop()
        if variable is None or kind is t.UNKNOWN:
            return None, True
        return ir.For(node.pos, variable, first, last, step, body), True

    def _loop_body(self, nodes: list[tree.Statement]) -> tuple[list[ir.Statement], bool]:
        self.loops += 1
        body, goes_on, _ = self._branch(nodes)
        self.loops -= 1
        return body, goes_on

    def _while(self, node: tree.While) -> tuple[ir.Statement, bool]:
        condition = self._condition(node.condition, "WHILE")
        if isinstance(condition, ir.Const) and not is_unknown(condition) and not condition.value and node.body:
            self.warn(node.body[0].pos, "this loop can never be entered: its condition is always FALSE")
        body, _ = self._loop_body(node.body)
        endless = isinstance(condition, ir.Const) and bool(condition.value) and not leaves(node.body)
        return ir.While(node.pos, condition, body), not endless

    def _repeat(self, node: tree.Repeat) -> tuple[ir.Statement, bool]:
        self.loops += 1
        body, _ = self.block(node.body)
        self.loops -= 1
        condition = self._condition(node.condition, "UNTIL")
        endless = isinstance(condition, ir.Const) and not is_unknown(condition) and not condition.value
        return ir.Repeat(node.pos, body, condition), not endless or leaves(node.body)


def leaves(nodes: list[tree.Statement]) -> bool:
    """Whether an EXIT of this loop stands among the statements."""
    for node in nodes:
        if isinstance(node, tree.Jump) and node.kind == "EXIT":
            return True
        if isinstance(node, tree.If) and any(leaves(b) for b in [*(body for _, body in node.branches), node.otherwise]):
            return True
        if isinstance(node, tree.Case) and any(leaves(b) for b in [*(body for _, body in node.groups), node.otherwise]):
            return True
    return False
