"""Reading a text's tags before anything is filled: what may stand there, and which names it uses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from jinja2 import TemplateSyntaxError, nodes
from jinja2.meta import find_undeclared_variables
from rapidfuzz.distance import DamerauLevenshtein

from replacements.replies.texts import environment, tidy

# What a reviewed text needs, and nothing that could reach further: no calls, no sums, no other files.
_ALLOWED = (
    nodes.Template,
    nodes.Output,
    nodes.TemplateData,
    nodes.Name,
    nodes.Const,
    nodes.Filter,
    nodes.If,
    nodes.For,
    nodes.Compare,
    nodes.Operand,
    nodes.Not,
    nodes.And,
    nodes.Or,
    nodes.Getattr,
    nodes.Test,
)
_FILTERS = ("full", "short", "hour")
_TESTS = ("none", "defined")
_BOX = ("place", "address", "open", "close", "hours")
_NEAR = 3  # letters that a name may be off to be taken for a slip


@dataclass(frozen=True, slots=True)
class Read:
    """What stands in a text's tags. `mistakes`: in the words of whoever wrote it; `words`: what stands outside tags."""

    names: frozenset[str]
    words: str
    mistakes: tuple[str, ...]


def read(body: str, known: Iterable[str]) -> Read:
    """Take a text apart. With a mistake in its tags nothing else about it is known."""
    try:
        tree = environment("en").parse(tidy(body))
    except TemplateSyntaxError as error:
        return Read(frozenset(), body, (f"Line {error.lineno}: the braces do not fit together ({error.message}).",))
    mistakes = []
    for node in tree.find_all(nodes.Node):
        wrong = _wrong(node)
        if wrong:
            mistakes.append(f"Line {node.lineno}: {wrong}")
    names = frozenset(find_undeclared_variables(tree))
    mistakes += [_unknown(name, known) for name in sorted(names - set(known))]
    words = "".join(data.data for data in tree.find_all(nodes.TemplateData))
    return Read(names, words, tuple(dict.fromkeys(mistakes)))


def names_of(body: str) -> frozenset[str]:
    """The facts and phrases that a good text names."""
    return frozenset(find_undeclared_variables(environment("en").parse(tidy(body))))


def _wrong(node: nodes.Node) -> str:
    if isinstance(node, nodes.Filter) and node.name not in _FILTERS:
        return f"“|{node.name}” is not known. A day takes “|full”, “|short” or “|hour”."
    if isinstance(node, nodes.Test) and node.name not in _TESTS:
        return f"“is {node.name}” cannot be asked in a text."
    if isinstance(node, nodes.Getattr) and (node.attr not in _BOX or not isinstance(node.node, nodes.Name)):
        return f"“.{node.attr}” is not known. Only a drop box has parts: {', '.join(_BOX)}."
    if isinstance(node, nodes.Call) and isinstance(node.node, nodes.Name):
        return f"“{node.node.name}(…)” cannot be used in a text. Write a name alone: “{{{{ {node.node.name} }}}}”."
    if not isinstance(node, _ALLOWED):
        return f"only names, “if” and “for” can stand between braces, no “{type(node).__name__.lower()}”."
    return ""


def _unknown(name: str, known: Iterable[str]) -> str:
    near = sorted((DamerauLevenshtein.distance(name.lower(), other), other) for other in known)
    parts = [other for other in known if len(name) > 3 and (name.lower() in other or other in name.lower())]
    guess = near[0][1] if near and near[0][0] <= _NEAR else (sorted(parts)[0] if parts else "")
    hint = f" Did you mean “{guess}”?" if guess else " The names that can be used are listed beside the text."
    return f"There is no fact called “{name}”.{hint}"
