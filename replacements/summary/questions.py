"""Many short questions in one statement: each answers with a few rows of up to four words and a number.

A week asks some twenty of them, and a round trip for each costs more than most of the answers.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import Select, Text, cast, func, literal, null, select, union_all
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.orm import Session
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement

# Rows taken up together, and let go of: thousands held at once set the interpreter looking through all that it holds.
AT_ONCE = 500


class Answer(NamedTuple):
    """One row. What a question does not name is None; days and moments are text, see `moment`."""

    first: str | None
    second: str | None
    third: str | None
    fourth: str | None
    number: int


Answers = Mapping[str, list[Answer]]


def question(name: str, *words: Any, number: Any = None) -> Select[*tuple[Any, ...]]:
    """A question to which its tables and conditions are still to be added. `words`: up to four columns, answered as
    text; `number`: how many rows, unless told otherwise. It groups by `words` where it is given `grouped(...)`."""
    four = (*words, *(None for _ in range(4 - len(words))))
    texts = (
        cast(null() if word is None else word, Text).label(at) for word, at in zip(four, Answer._fields, strict=False)
    )
    return select(
        literal(name, Text).label("question"), *texts, (func.count() if number is None else number).label("n")
    )


def ask(session: Session, *questions: Select[*tuple[Any, ...]]) -> Answers:
    """The answers to each question, by its name; in no order. A question without an answer has no rows."""
    found = defaultdict[str, list[Answer]](list)
    for row in session.execute(union_all(*questions)).yield_per(AT_ONCE):
        found[row[0]].append(Answer._make(row[1:]))
    return found


def number(answers: Answers, name: str) -> int:
    """The number of a question that has but one; 0 where there is none."""
    return next((row.number for row in answers[name] if row.number), 0)


class clock_hour(FunctionElement[str]):
    """The clock hour of a stored moment, in UTC; its answer is for `moment`."""

    type = Text()
    inherit_cache = True


@compiles(clock_hour)
def _written_hour(element: clock_hour, compiler: SQLCompiler, **how: Any) -> str:
    return f"substr({compiler.process(element.clauses, **how)}, 1, {len('2031-10-06 09')})"


@compiles(clock_hour, "postgresql")  # which would write out each of the moments first
def _true_hour(element: clock_hour, compiler: SQLCompiler, **how: Any) -> str:
    return f"date_trunc('hour', {compiler.process(element.clauses, **how)})"


def moment(text: str) -> datetime:
    """A stored moment, as an answer has it, with its zone."""
    return datetime.fromisoformat(f"{text}+00:00")
