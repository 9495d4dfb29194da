"""Whatever is written on the ledger is told in words in the event log: found by reading the program itself.

Every call that ends in the ledger's `append` or in an `Event` is followed back to the words that stand in the source,
through as many functions as there are between. One whose event cannot be told this way fails the test: it may hide an
event without words.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import replacements
from replacements.ballots import event_log

ROOT = Path(replacements.__file__).parents[1]
LEDGER = "replacements.ballots.ledger"


class Module:
    """One file: its functions, what its names stand for, and its constants."""

    def __init__(self, name: str, tree: ast.Module) -> None:
        self.name, self.tree = name, tree
        self.names: dict[str, str] = {}  # "append" -> "replacements.ballots.ledger.append"
        self.constants: dict[str, ast.expr] = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module:
                self.names |= {one.asname or one.name: f"{node.module}.{one.name}" for one in node.names}
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                self.names[node.name] = f"{name}.{node.name}"
            elif isinstance(node, ast.Assign) and len(node.targets) == 1:
                self.constants |= _assigned(node)

    def meant(self, expression: ast.expr) -> str:
        """The full name of what a name, or an attribute of a module, stands for; empty where it is something else."""
        if isinstance(expression, ast.Name):
            return self.names.get(expression.id, "")
        if isinstance(expression, ast.Attribute):
            whole = self.meant(expression.value)
            return f"{whole}.{expression.attr}" if whole else ""
        return ""


def _assigned(node: ast.Assign) -> dict[str, ast.expr]:
    """What is assigned, by the name as it stands there: `event`, `old.state`."""
    target, value = node.targets[0], node.value
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        return {ast.unparse(name): one for name, one in zip(target.elts, value.elts, strict=True)}
    return {ast.unparse(target): value}


def _modules() -> dict[str, Module]:
    found = {}
    for path in [*ROOT.glob("replacements/**/*.py"), *ROOT.glob("worker/**/*.py")]:
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        found[name] = Module(name, ast.parse(path.read_text(encoding="utf-8")))
    return found


class Reading:
    """Follows the writers of events: `writers` maps a function to the place and the name of its event."""

    def __init__(self) -> None:
        self.modules = _modules()
        self.writers: dict[str, tuple[int | None, str]] = {
            f"{LEDGER}.append": (None, "event"),
            f"{LEDGER}.Event": (0, "event"),
        }
        self.events: dict[str, str] = {}  # and where each is written
        self.unclear: list[str] = []
        while self._once():
            pass

    def _once(self) -> bool:
        """Read everything; whether a function was found that hands an event on."""
        self.events, self.unclear, before = {}, [], len(self.writers)
        for module in self.modules.values():
            for function, call in _calls(module.tree):
                at = self.writers.get(module.meant(call.func))
                if at is not None and (module.name, function.name if function else "") != (LEDGER, "append"):
                    self._written(module, function, call, at)
        return len(self.writers) > before

    def _written(
        self, module: Module, function: ast.FunctionDef | None, call: ast.Call, at: tuple[int | None, str]
    ) -> None:
        place, name = at
        given = [word.value for word in call.keywords if word.arg == name]
        if not given and place is not None and len(call.args) > place:
            given = [call.args[place]]
        where = f"{module.name}:{call.lineno}"
        if not given:
            self.unclear.append(where)
        for expression in given:
            for event in self._told(module, function, expression, where):
                self.events.setdefault(event, where)

    def _told(
        self, module: Module, function: ast.FunctionDef | None, expression: ast.expr, where: str
    ) -> Iterator[str]:
        if isinstance(expression, ast.Constant) and isinstance(expression.value, str):
            yield expression.value
        elif isinstance(expression, ast.IfExp):
            yield from self._told(module, function, expression.body, where)
            yield from self._told(module, function, expression.orelse, where)
        elif isinstance(expression, ast.Name) and self._handed_on(module, function, expression.id):
            return
        elif local := _local(function, ast.unparse(expression)):
            for one in local:
                yield from self._told(module, function, one, where)
        elif isinstance(expression, ast.Name) and expression.id in module.constants:
            yield from self._told(module, None, module.constants[expression.id], where)
        elif (whole := module.meant(expression)) and whole.rpartition(".")[0] in self.modules:
            there, _, name = whole.rpartition(".")
            yield from self._told(self.modules[there], None, ast.Name(name), where)
        else:
            self.unclear.append(f"{where}: {ast.unparse(expression)}")

    def _handed_on(self, module: Module, function: ast.FunctionDef | None, name: str) -> bool:
        """A parameter's value comes from whoever calls the function, and is looked for there."""
        if function is None:
            return False
        positional = [one.arg for one in (*function.args.posonlyargs, *function.args.args)]
        if name not in (*positional, *(one.arg for one in function.args.kwonlyargs)):
            return False
        place = positional.index(name) if name in positional else None
        self.writers.setdefault(f"{module.name}.{function.name}", (place, name))
        return True


def _calls(tree: ast.AST, function: ast.FunctionDef | None = None) -> Iterator[tuple[ast.FunctionDef | None, ast.Call]]:
    for node in ast.iter_child_nodes(tree):
        inside = node if isinstance(node, ast.FunctionDef) else function
        if isinstance(node, ast.Call):
            yield inside, node
        yield from _calls(node, inside)


def _local(function: ast.FunctionDef | None, name: str) -> list[ast.expr]:
    if function is None:
        return []
    assigned = (node for node in ast.walk(function) if isinstance(node, ast.Assign) and len(node.targets) == 1)
    return [found[name] for node in assigned if name in (found := _assigned(node))]


@pytest.fixture(scope="module")
def reading() -> Reading:
    return Reading()


def test_every_event_that_the_program_writes_has_words_of_its_own(reading: Reading) -> None:
    assert reading.unclear == []
    without = {event: where for event, where in reading.events.items() if event_log.described(event)[0] == "other"}
    assert without == {}


def test_the_search_finds_events_through_every_kind_of_call(reading: Reading) -> None:
    """Written straight, by a constant, through a function that hands it on, one of two, and by the command line."""
    assert reading.events.keys() >= {
        "imported", "purged", "account_roles_changed", "second_factor_removed", "reply_text_declined",
        "returned_misread", "undeliverable", "reissued", "election_reopened", "mailed", "restored",
        "suspended", "voided",
    }  # fmt: skip


def test_no_two_events_have_the_same_words(reading: Reading) -> None:
    words = [event_log.described(event)[1] for event in reading.events]
    assert len(set(words)) == len(words)
